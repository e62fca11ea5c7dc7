"""The status of a recall: who has it, who was informed, what they answered, where the rest went."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from django.db.models import Q

from gearroom.core.acts import SYSTEM, Actor
from gearroom.core.rules.grouping import summed
from kits.models import (
    DISPOSALS,
    LEFT_US,
    Certainty,
    Checkout,
    EntryKind,
    Holding,
    Kit,
    Lot,
    Movement,
    Notice,
    Place,
    PlaceKind,
    Recall,
    RecallPlace,
    Trip,
)
from kits.models.details import EmptyDetail, LeaveDetail
from kits.rules.recalls.certainty import Unsettled
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.notices.texts import recalls as recall_texts
from kits.services.recalls import tracing


@dataclass(frozen=True)
class Followed:
    """A place with its row (None: the batch came there later), and what the book has there now."""

    place: Place
    row: RecallPlace | None
    booked: int
    told_at: datetime | None

    @property
    def settled(self) -> bool:
        """Whether nobody has to look there any more: somebody answered, or the book was sure of
        what was there and it is there no longer."""
        row = self.row
        return row is not None and (
            row.answered_id is not None or (row.units_min == row.units_max and not self.booked)
        )


@dataclass(frozen=True)
class Gone:
    """Units that are no longer here: used on a trip, thrown out, sold or given away; `to` whom,
    where somebody wrote it down."""

    how: PlaceKind
    certainty: Certainty
    trip: Trip | None
    kit: Kit | None
    to: str
    units: int


class Quarantined(NamedTuple):
    """Units in quarantine."""

    place: Place
    units: int


@dataclass(frozen=True)
class RecallStatus:
    """The batches, each place to follow, what is in quarantine (units by
    place), and what was used, thrown out or handed on before."""

    recall: Recall
    lots: Sequence[Lot]
    places: Sequence[Followed]
    quarantine: Sequence[Quarantined]
    gone: Sequence[Gone]

    @property
    def unsettled(self) -> Unsettled:
        """What is not accounted for, of as much as is seen."""
        return Unsettled(
            quarantined=sum(units for _place, units in self.quarantine),
            elsewhere=sum(row.booked for row in self.places),
            unanswered=sum(not row.settled for row in self.places),
        )


def of(recall: Recall, actor: Actor = SYSTEM) -> RecallStatus:
    """Who has it, who was told, what they answered, and where the rest went: as much of it as
    somebody may see, which is the places of their rooms and those that they have."""
    suspect = {
        lot.pk: lot for lot in Lot.objects.select_related("item").filter(lots.matching(recall))
    }
    holdings = (
        Holding.objects.on_hand()
        .filter(lot__in=suspect)
        .select_related("place__kit__room", "place__room")
    )
    held = summed((row.place_id, row.units) for row in holdings)
    rows = list(
        recall.places.select_related(
            "place__kit__room", "place__room", "person", "answered", "answered_by"
        )
    )
    informed = _informed(recall)
    holds = _kits_with(actor)

    def visible(place: Place) -> bool:
        return place.kit_id in holds or find.sees_place(actor, place)

    followed = [
        Followed(
            row.place,
            row,
            held[row.place_id],
            row.told_at or informed.get(row.place.kit_id),
        )
        for row in rows
        if visible(row.place)
    ]
    known = {row.place_id for row in rows}
    places = {row.place_id: row.place for row in holdings if visible(row.place)}
    quarantined = [p for p in places.values() if p.kind == PlaceKind.QUARANTINE]
    followed += [
        Followed(place, None, held[pk], None)
        for pk, place in sorted(places.items())
        if pk not in known and place.kind != PlaceKind.QUARANTINE
    ]
    return RecallStatus(
        recall=recall,
        lots=list(suspect.values()),
        places=followed,
        quarantine=[Quarantined(p, held[p.pk]) for p in quarantined],
        gone=_gone(recall, set(suspect), actor),
    )


def _informed(recall: Recall) -> dict[int | None, datetime]:
    """When a mail first went out to somebody who has a kit or answers for it, by the kit's id."""
    fact = f"recall:{recall.pk}"
    informed: dict[int | None, datetime] = {}
    for notice in (
        Notice.objects.filter(Q(fact=fact) | Q(fact__startswith=f"{fact}:"), kind="recall")
        .exclude(sent_at=None)
        .select_related("kit")
        .defer("rendered")
        .order_by("sent_at")
    ):
        for kit in recall_texts.kits_of(notice):
            if kit["theirs"] and notice.sent_at is not None:
                informed.setdefault(kit["id"], notice.sent_at)
    return informed


def sees_row(actor: Actor, row: RecallPlace) -> bool:
    """Whether a row is of a room of theirs, or of a kit that they have."""
    return find.sees_place(actor, row.place) or row.place.kit_id in _kits_with(actor)


def _kits_with(actor: Actor) -> frozenset[int | None]:
    """The kits (ids) that somebody has now."""
    if actor.person is None or actor.everywhere:
        return frozenset()
    held = Checkout.objects.open().filter(person=actor.person)
    return frozenset(held.values_list("kit", flat=True))


def _gone(recall: Recall, suspect: set[int], actor: Actor) -> list[Gone]:
    """What left for good from somebody's rooms. A tap that did not say which batch, in a place
    where the recalled one had been, may have been of it."""
    been: set[int] = set()
    gone: list[tuple[tuple[PlaceKind, Certainty, Trip | None, Kit | None, str], int]] = []
    movements = (
        Movement.objects.filter(lot__item=recall.item_id, entry__reversed_by__isnull=True)
        .exclude(entry__kind=EntryKind.REVERSE)
        .select_related("to_place", "lot", "entry__trip", "entry__kit")
        .order_by("id")
    )
    for m in movements:
        ours = m.lot_id in suspect
        if ours:
            been.add(m.to_place_id)
        maybe_ours = ours or (m.lot_assumed and m.from_place_id in been)
        if not (maybe_ours and m.to_place.kind in _FOR_GOOD and _left_from(actor, m)):
            continue
        certain = not m.lot_assumed and tracing.named(recall, m.lot)
        confirmed = Certainty.CERTAIN if certain else Certainty.MAYBE
        how = PlaceKind(m.to_place.kind)
        to = _given_to(m) if how in LEFT_US else ""
        gone.append(((how, confirmed, m.entry.trip, m.entry.kit, to), m.units))
    return [Gone(*key, units) for key, units in summed(gone).items()]


def _given_to(gone: Movement) -> str:
    """Who got what was sold or given away: as it was written down then, without the names of those
    who were erased since."""
    entry = gone.entry
    if entry.kind == EntryKind.LEAVE:
        return entry.detail_as(LeaveDetail)["to"]
    if entry.kind != EntryKind.EMPTY:
        return ""
    lines = entry.detail_as(EmptyDetail)["lines"]
    why = [line["reason"] for line in lines if line["lot"] == gone.lot_id and line["reason"]]
    return ", ".join(dict.fromkeys(why)) or entry.reason


def _left_from(actor: Actor, gone: Movement) -> bool:
    kit = gone.entry.kit
    return actor.belongs_to(gone.from_room_id) or (kit is not None and find.knows_kit(actor, kit))


_FOR_GOOD = frozenset({PlaceKind.USED, PlaceKind.CLASS, *DISPOSALS, *LEFT_US})
