"""Whom a change of a trip concerns, and what they are told of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from gearroom.core.models import Person
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Entry, Reservation, Trip
from kits.rules.ledger import Reason
from kits.services.ledger.kit_state import iso
from kits.services.notices import TripChanged, writing
from kits.services.notices.facts import TripMoved
from kits.services.notices.recipients import Keepers
from kits.services.notices.writing import Draft
from kits.services.text import reason_texts, verdict_texts
from kits.services.trips.trip_readiness import KitOfTrip


@dataclass(frozen=True)
class Clash:
    """A kit reserved for a trip and for another on the same days."""

    reservation: Reservation
    other: Reservation


def changed(
    entry: Entry,
    trip: Trip,
    what: str,
    *,
    clashes: Sequence[Clash] = (),
    released: Sequence[Reservation] = (),
    no_longer_fit: Sequence[KitOfTrip] = (),
    lacking: Sequence[Reason] = (),
) -> None:
    """Tell the keepers of the kits concerned: those that clash, that a cancelled trip gave free, or
    that are no longer enough for it."""
    facts: TripChanged = {
        "what": what,
        "trip": trip.name,
        "released": [row.kit.name for row in released],
        "clashes": [
            {"kit": c.other.kit.name, "trip": c.other.trip.name, "trip_id": c.other.trip_id}
            for c in clashes
        ],
        "unfit": [
            {"kit": each.kit.name, "verdict_text": verdict_texts.verdict(each.verdict)}
            for each in no_longer_fit
            if each.verdict is not None
        ],
        "lacking": [row["text"] for row in reason_texts.reasons(lacking)],
    }
    kits = [row.kit for row in [*(c.reservation for c in clashes), *released]]
    kits += [each.kit for each in no_longer_fit]
    if not kits and trip.room is not None:
        writing.notify_keepers(entry, "trip-changed", room=trip.room, facts=facts)
    for kit in kits:
        writing.notify_keepers(entry, "trip-changed", kit=kit, facts=facts)


def moved_while_out(entry: Entry, trip: Trip, *, cancelled: bool) -> None:
    """Tell whoever has kits on a trip, and their keepers, that the trip is at another time or
    place, or was cancelled."""
    out = (
        Checkout.objects.open()
        .filter(trip=trip)
        .select_related("person", "kit__home_room", "kit__responsible", "kit__deputy", "section")
        .order_by("kit__name", "id")
    )
    keepers = Keepers()
    concerned: list[tuple[Person, Checkout]] = []
    for each in out:
        people = {p.pk: p for p in (each.person, *keepers.of_kit(each.kit)) if p is not None}
        concerned += [(person, each) for person in people.values()]
    writing.write(
        "trip-moved",
        [
            Draft(
                person, f"entry:{entry.pk}", _facts(trip, theirs, cancelled), entry, room=trip.room
            )
            for person, theirs in grouped(concerned).items()
        ],
    )


def _facts(trip: Trip, out: Sequence[Checkout], cancelled: bool) -> TripMoved:
    return {
        "what": "cancelled" if cancelled else "moved",
        "trip": trip.name,
        "trip_id": trip.pk,
        "departs_at": trip.departs_at.isoformat(),
        "returns_at": trip.returns_at.isoformat(),
        "kits": [{"kit": each.what, "due_at": iso(each.due_at)} for each in out],
    }
