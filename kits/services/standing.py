"""How a recall stands: who has it, who was told, what they answered, and where the rest went."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db.models import Q

from gearroom.core.act import Actor
from kits.models import (
    DISPOSALS,
    LEFT_US,
    Certainty,
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
from kits.rules.recalls import Unsettled
from kits.services import affected, lots, recall_notices


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
        if row is None:
            return False
        sure = row.units_min == row.units_max
        return row.answered_id is not None or (sure and not self.booked)


@dataclass(frozen=True)
class Gone:
    """Units that are no longer here: used on a trip, thrown out, sold or given away."""

    how: PlaceKind
    certainty: Certainty
    trip: Trip | None
    kit: Kit | None
    units: int


@dataclass(frozen=True)
class Standing:
    """How a recall stands: the batches, each place to follow, what is in quarantine (units by
    place), and what was used, thrown out or handed on before."""

    recall: Recall
    lots: Sequence[Lot]
    places: Sequence[Followed]
    quarantine: Sequence[tuple[Place, int]]
    gone: Sequence[Gone]

    @property
    def unsettled(self) -> Unsettled:
        """What is not accounted for, of as much as is seen."""
        return Unsettled(
            quarantined=sum(units for _place, units in self.quarantine),
            elsewhere=sum(row.booked for row in self.places),
            unanswered=sum(not row.settled for row in self.places),
        )


def of(recall: Recall) -> Standing:
    """Who has it, who was told, what they answered, and where the rest went."""
    suspect = {
        lot.pk: lot for lot in Lot.objects.select_related("item").filter(lots.matching(recall))
    }
    held: dict[int, int] = {}
    places: dict[int, Place] = {}
    for holding in Holding.objects.filter(lot__in=suspect, units__gt=0).select_related(
        "place__kit__room", "place__room"
    ):
        held[holding.place_id] = held.get(holding.place_id, 0) + holding.units
        places[holding.place_id] = holding.place
    rows = list(
        recall.places.select_related(
            "place__kit__room", "place__room", "person", "answered", "answered_by"
        )
    )
    told = _told(recall)
    followed = [
        Followed(
            row.place,
            row,
            held.get(row.place_id, 0),
            row.told_at or (told.get(row.place.kit_id) if row.place.kit_id else None),
        )
        for row in rows
    ]
    known = {row.place_id for row in rows}
    quarantined = [p for p in places.values() if p.kind == PlaceKind.QUARANTINE]
    followed += [
        Followed(place, None, held[pk], None)
        for pk, place in sorted(places.items())
        if pk not in known and place.kind != PlaceKind.QUARANTINE
    ]
    return Standing(
        recall=recall,
        lots=list(suspect.values()),
        places=followed,
        quarantine=[(p, held[p.pk]) for p in quarantined],
        gone=_gone(recall, set(suspect)),
    )


def _told(recall: Recall) -> dict[int, datetime]:
    """When a mail first went out to somebody who has a kit or answers for it, by the kit's id."""
    fact = f"recall:{recall.pk}"
    told: dict[int, datetime] = {}
    for notice in (
        Notice.objects.filter(Q(fact=fact) | Q(fact__startswith=f"{fact}:"), kind="recall")
        .exclude(sent_at=None)
        .select_related("kit")
        .defer("rendered")
        .order_by("sent_at")
    ):
        assert notice.sent_at is not None  # asked for
        for kit in recall_notices.kits_of(notice):
            if kit["theirs"]:
                told.setdefault(kit["id"], notice.sent_at)
    return told


def seen_by(actor: Actor, stands: Standing) -> Standing:
    """As much of how a recall stands as somebody may see: all of it who may start one, else the
    places of their own rooms."""
    if actor.may("recall"):
        return stands

    def seen(place: Place) -> bool:
        rooms = [place.room_id] if place.kit is None else [place.kit.room_id]
        rooms += [place.kit.home_room_id] if place.kit else []
        return any(actor.belongs_to(room) for room in rooms)

    return replace(
        stands,
        places=[row for row in stands.places if seen(row.place)],
        quarantine=[(place, units) for place, units in stands.quarantine if seen(place)],
        gone=[],
    )


def _gone(recall: Recall, suspect: set[int]) -> list[Gone]:
    """What left for good. A tap that did not say which batch, in a place where the recalled one
    had been, may have been of it."""
    been: set[int] = set()
    totals: dict[tuple[PlaceKind, Certainty, int | None, int | None], Gone] = {}
    for m in _movements(recall):
        ours = m.lot_id in suspect
        if ours:
            been.add(m.to_place_id)
        if m.to_place.kind not in _FOR_GOOD:
            continue
        if not ours and not (m.lot_assumed and m.from_place_id in been):
            continue
        certain = not m.lot_assumed and affected.named(recall, m.lot)
        sure = Certainty.CERTAIN if certain else Certainty.MAYBE
        how = PlaceKind(m.to_place.kind)
        key = (how, sure, m.entry.trip_id, m.entry.kit_id)
        before = totals[key].units if key in totals else 0
        totals[key] = Gone(how, sure, m.entry.trip, m.entry.kit, before + m.units)
    return list(totals.values())


_FOR_GOOD = frozenset({PlaceKind.USED, PlaceKind.CLASS, *DISPOSALS, *LEFT_US})


def _movements(recall: Recall) -> Iterable[Movement]:
    return (
        Movement.objects.filter(lot__item=recall.item_id, entry__reversed_by__isnull=True)
        .exclude(entry__kind=EntryKind.REVERSE)
        .select_related("to_place", "lot", "entry__trip", "entry__kit")
        .order_by("id")
    )
