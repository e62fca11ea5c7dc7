"""Trips as their source has them: a booking system, or somebody by hand.

A trip is put whole, as often as its source likes; put again unchanged, nothing happens. When it is
on other days than before, the kits reserved for it may be reserved for two trips at once: those
are listed, and their keepers get a notice.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, NotFound, store
from gearroom.core.models import Room
from kits.models import Activity, Checkout, Entry, EntryKind, Reservation, Trip
from kits.models.details import TripDetail
from kits.rules.ledger import Reason
from kits.services.ledger import Book
from kits.services.ledger.kit_state import iso
from kits.services.trips import (
    change_times,
    leaders,
    reservations,
    sources,
    trip_notices,
    trip_readiness,
)
from kits.services.trips.trip_facts import TripFacts, columns_of
from kits.services.trips.trip_notices import Clash
from kits.services.trips.trip_readiness import JudgedTrip, KitOfTrip


@dataclass(frozen=True)
class TripChange:
    """What putting a trip did: `outcome` is "created", "updated" or "unchanged". `released`: the
    kits (by name) that a cancelled trip gave free. `due_changed`: the kits that are out on it and
    are due at its new return, as they were at the old one. `no_longer_fit`: its kits that were
    ready for it, or low, as it was before and are not as it is now; `lacking`: what its kits served
    together before and do not now."""

    trip: Trip
    outcome: str
    clashes: Sequence[Clash] = field(default_factory=list)
    entry: Entry | None = None
    released: Sequence[str] = ()
    due_changed: Sequence[str] = ()
    no_longer_fit: Sequence[KitOfTrip] = ()
    lacking: Sequence[Reason] = ()


def put(
    act: Act,
    source: str,
    reference: str,
    facts: TripFacts,
) -> TripChange:
    """Make or change the trip that a source knows by a reference. What is out on it and due at its
    return stays due at its return; a due time that somebody set stays as it is.

    Raises Unacceptable (`trip-ends-before-it-begins`, `trip-too-long`), Invalid, and NotFound for
    a trip of a room that is not the actor's.
    """
    sources.refuse_name(source)
    columns = checked(act, reference, facts)
    try:
        return put_checked(act, source, reference, columns, facts.cancelled)
    except IntegrityError:
        # Somebody else put the same new trip a moment ago: this is a change of it.
        return put_checked(act, source, reference, columns, facts.cancelled)


def checked(act: Act, reference: str, facts: TripFacts) -> dict[str, Any]:
    """What the table keeps of a trip that somebody may put under a reference. Raises what `put`
    raises, whatever is there already."""
    if (
        not any(letter.isalnum() for letter in reference)
        or len(reference) > 80
        or not reference.isprintable()
        or "/" in reference
    ):
        raise Invalid(
            _(
                "A reference must have 1 to 80 characters, including at least one letter or "
                "digit, and no slash."
            ),
            field="reference",
        )
    act.actor.require("edit_trip", facts.room.pk if facts.room else None)
    return columns_of(facts)


def add_by_hand(act: Act, facts: TripFacts) -> TripChange:
    """Make a trip that no other system knows, under a reference of our own."""
    return put(act, sources.BY_HAND, act.key.hex[:10], facts)


def cancel(act: Act, trip: Trip) -> TripChange:
    """Cancel a trip, as its source would."""
    same = ("returns_at", "leader", "leader_email")
    columns = {**{name: getattr(trip, name) for name in same}, "planned": False}
    return put_checked(act, trip.source, trip.reference, columns, cancelled=True, by_calendar=True)


def clashes_of(trip: Trip) -> list[Clash]:
    """The kits reserved for a trip that are reserved for another on the same days."""
    if trip.cancelled_at is not None:
        return []
    ours = {
        r.kit_id: r
        for r in Reservation.objects.promised()
        .filter(trip=trip)
        .select_related("kit__home_room", "kit__responsible", "kit__deputy")
    }
    others = reservations.clashing(ours, trip) if ours else []
    return [Clash(ours[other.kit_id], other) for other in others]


def freed(trip: Trip) -> list[str]:
    """The kits (by name) that a cancelled trip gave free when it was cancelled; of any other trip,
    none."""
    if trip.cancelled_at is None:
        return []
    last = (
        Entry.objects.filter(kind=EntryKind.TRIP, trip=trip, detail__what="cancelled")
        .order_by("-id")
        .values_list("key", flat=True)
        .first()
    )
    if last is None:
        return []
    return list(
        Reservation.objects.filter(trip=trip, released__key=last)
        .order_by("kit__name")
        .values_list("kit__name", flat=True)
    )


# ------------------------------------------------------------------------------------------- inside
def put_checked(
    act: Act,
    source: str,
    reference: str,
    columns: dict[str, Any],
    cancelled: bool,
    *,
    by_calendar: bool = False,
) -> TripChange:
    """Put a trip of which is known that it can be (`checked`); `by_calendar`: as the calendar that
    it comes from has it. Raises Refused (`trip-of-calendar`)."""
    with Book(act) as book:
        # Kits are locked before the trip, as everywhere.
        due_then = _due_at_return(source, reference).exclude(due_at=columns["returns_at"])
        book.lock(
            *due_then.values_list("kit", flat=True),
            *(reservations.kits_of(source, reference) if cancelled else ()),
        )
        trip = (
            Trip.objects.select_for_update(of=("self",), no_key=True)
            .select_related("room", "leader", "activity")
            .filter(source=source, reference=reference)
            .first()
        )
        if trip is None:
            act.match(None)
            if not by_calendar:
                sources.refuse_of_calendar(source, reference)
            return _create(book, source, reference, columns, cancelled)
        require_trip(act, trip)
        act.match(trip)
        if is_unchanged(trip, columns, cancelled):
            return TripChange(trip, "unchanged", clashes_of(trip))
        if not by_calendar:
            sources.refuse_of_calendar(source, reference)
        return _change(book, trip, columns, cancelled)


def require_trip(act: Act, trip: Trip) -> None:
    """Raise NotFound for a trip of a room that is not the actor's, NotAllowed for one that is not
    theirs to change."""
    if trip.room_id is not None and not act.actor.belongs_to(trip.room_id):
        raise NotFound("trip", trip.reference)
    act.actor.require("edit_trip", trip.room_id)


def is_unchanged(trip: Trip, columns: dict[str, Any], cancelled: bool) -> bool:
    """Whether a trip is as its source has it."""
    return not changes_of(trip, columns) and cancelled == (trip.cancelled_at is not None)


def changes_of(trip: Trip, columns: dict[str, Any]) -> dict[str, Any]:
    """The columns of a trip that are not as a source has them now. Whoever leads it by an address
    stays who it is while the address does."""
    columns = {**columns}
    if columns["leader_email"] and columns["leader_email"] == trip.leader_email:
        del columns["leader"]
    return {name: value for name, value in columns.items() if getattr(trip, name) != value}


def _change(book: Book, trip: Trip, columns: dict[str, Any], cancelled: bool) -> TripChange:
    """Bring a locked trip to what its source has now."""
    stood = trip.cancelled_at is None
    changed = changes_of(trip, columns)
    if changed.get("leader_email"):
        changed["leader"] = leaders.by_address([changed["leader_email"]]).get(
            changed["leader_email"]
        )
    detail: TripDetail = {
        "what": "cancelled" if cancelled and stood else "changed",
        "changed": {
            name: [_plain(getattr(trip, name)), _plain(changed[name])]
            for name in sorted(changed)
            if name not in _ABOUT_PEOPLE
        },
    }
    held: list[Checkout] = []
    if "returns_at" in changed and not _extended_by_hand(trip):
        held = list(
            _due_at_return(trip.source, trip.reference)
            .filter(kit__in=book.locked)
            .select_related("kit__home_room", "kit__responsible", "kit__deputy", "person")
            .order_by("kit", "id")
        )
    before = _judged(trip, changed)
    store(
        trip,
        **changed,
        cancelled_at=(trip.cancelled_at or book.act.received_at) if cancelled else None,
        changed_at=change_times.next_time(),
        revision=trip.revision + 1,
    )
    if held:
        detail["due"] = {str(each.pk): iso(each.due_at) for each in held}
    entry = book.post(EntryKind.TRIP, room=trip.room, trip=trip, detail=detail)
    for each in held:
        store(each, due_at=max(trip.returns_at, each.out_at))
    released = reservations.release_all(book, trip) if cancelled and stood else []
    done = TripChange(
        trip,
        "updated",
        clashes_of(trip),
        entry,
        [row.kit.name for row in released],
        list(dict.fromkeys(each.kit.name for each in held)),
        *_worse(before, trip),
    )
    _notify(entry, done, changed, stood, released)
    return done


_JUDGED = frozenset({"first_day", "last_day", "people", "hazards", "children", "latex_free"})
"""What a change of can make a kit unfit for a trip."""
_WHEN_AND_WHERE = frozenset({"departs_at", "returns_at", "first_day", "last_day", "room"})


def _judged(trip: Trip, changed: Collection[str]) -> JudgedTrip | None:
    """How a trip stands before a change that may make its kits unfit for it."""
    if not _JUDGED & set(changed) or trip.cancelled_at is not None:
        return None
    (judged,) = trip_readiness.judge_trips([trip])
    return judged if judged.kits else None


def _worse(before: JudgedTrip | None, trip: Trip) -> tuple[Sequence[KitOfTrip], Sequence[Reason]]:
    """The kits that were fit for a trip before and are not now, and what all of them together
    served and do not now."""
    if before is None or trip.cancelled_at is not None:
        return (), ()
    (now,) = trip_readiness.judge_trips([trip])
    fit = {kit.kit.pk for kit in before.kits if kit.verdict is not None and kit.verdict.fit}
    lacked = {reason.code for reason in before.lacking}
    return (
        [
            kit
            for kit in now.kits
            if kit.kit.pk in fit and kit.verdict is not None and not kit.verdict.fit
        ],
        [reason for reason in now.lacking if reason.code not in lacked],
    )


def _notify(
    entry: Entry,
    done: TripChange,
    changed: Collection[str],
    stood: bool,
    released: Sequence[Reservation],
) -> None:
    """Tell whoever a change concerns: the keepers of kits that are free, reserved twice or no
    longer enough, and whoever has a kit on it."""
    trip = done.trip
    cancelled = trip.cancelled_at is not None
    moved = bool({"first_day", "last_day"} & set(changed)) or not stood
    if cancelled and stood:
        trip_notices.changed(entry, trip, "cancelled", released=released)
    elif done.no_longer_fit or done.lacking or (done.clashes and moved):
        trip_notices.changed(
            entry,
            trip,
            "changed",
            clashes=done.clashes if moved else (),
            no_longer_fit=done.no_longer_fit,
            lacking=done.lacking,
        )
    if (cancelled and stood) or _WHEN_AND_WHERE & set(changed):
        trip_notices.moved_while_out(entry, trip, cancelled=cancelled)
    if "leader_email" in changed or (not cancelled and not stood):
        leaders.ask_who(entry, trip)


def _due_at_return(source: str, reference: str) -> QuerySet[Checkout]:
    """What is out on a trip and due when that returns."""
    return Checkout.objects.open().filter(
        trip__source=source, trip__reference=reference, due_at=F("trip__returns_at")
    )


def _extended_by_hand(trip: Trip) -> bool:
    """Whether somebody put off its return, and with it when its kits are due, since its source
    last did."""
    last = (
        Entry.objects.filter(kind=EntryKind.TRIP, trip=trip, detail__changed__has_key="returns_at")
        .order_by("-id")
        .values_list("detail", flat=True)
        .first()
    )
    return last is not None and last["what"] == "extended"


_ABOUT_PEOPLE = frozenset({"leader", "leader_name", "leader_phone", "leader_email"})
"""What the record, from which nothing is ever deleted, does not keep of a trip."""


def _create(
    book: Book, source: str, reference: str, columns: dict[str, Any], cancelled: bool
) -> TripChange:
    if address := columns["leader_email"]:
        columns = {**columns, "leader": leaders.by_address([address]).get(address)}
    now = change_times.next_time()
    with transaction.atomic():
        trip = Trip.objects.create(
            source=source,
            reference=reference,
            cancelled_at=now if cancelled else None,
            created_at=book.act.received_at,
            changed_at=now,
            **columns,
        )
    entry = book.post(EntryKind.TRIP, room=trip.room, trip=trip, detail={"what": "created"})
    leaders.ask_who(entry, trip)
    return TripChange(trip, "created", [], entry)


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    return value.pk if isinstance(value, Room | Activity) else value
