"""Stock batch by batch: what places hold, when it goes out of date, what moved; and the shelves."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Max, Q, QuerySet

from gearroom.core import clock
from gearroom.core.acts import Actor, NotFound
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Entry, EntryKind, Holding, Item, Kit, Lot, Movement, Place, PlaceKind
from kits.models.details import CountDetail
from kits.rules.ledger import Batch, ReasonCode, good_through, why_not
from kits.rules.stock.horizon import Dated
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.lookup.own_side import own_side

SHELVES, KITS, APART = "shelves", "kits", "apart"
"""Where units are, for a picture: on shelves, in kits, or set apart (quarantine, training, on the
way)."""


# --------------------------------------------------------------------------------------- one item
@dataclass(frozen=True)
class HeldBatch:
    """Units of a batch in a place, with why they are not usable today (None: they are) and the
    last day they are good (None: no date)."""

    place: Place
    lot: Lot
    units: int
    fault: ReasonCode | None
    good_until: date | None

    @property
    def where(self) -> str:
        """SHELVES, KITS or APART."""
        return {PlaceKind.SHELF: SHELVES, PlaceKind.SECTION: KITS}.get(
            PlaceKind(self.place.kind), APART
        )


def held_batches(
    actor: Actor,
    *,
    item: Item | None = None,
    room: Room | None = None,
    kinds: Iterable[PlaceKind] = (),
    place: Place | None = None,
) -> list[HeldBatch]:
    """What the places of somebody's rooms hold, soonest out of date first: of one item, in one
    room (its own places, not its kits), in places of some kinds, in one place."""
    rows = (
        Holding.objects.on_hand()
        .filter(place__in=find.places_of(actor).values("pk"))
        .select_related("place__room", "place__location", "place__kit__room", "lot__item")
    )
    wanted = {
        "lot__item": item,
        "place__room": room,
        "place": place,
        "place__kind__in": tuple(kinds) or None,
    }
    return _in_order(
        rows.filter(**{field: value for field, value in wanted.items() if value is not None})
    )


def expiring_in(room: Room, through: date) -> list[HeldBatch]:
    """What is good through a day at most on the shelves of a room and in the kits in use that
    stand there or are at home there, soonest out of date first."""
    kits = Kit.objects.active().filter(
        Q(room=room) | Q(home_room=room), training=False, laid_up_since=None
    )
    rows = (
        Holding.objects.on_hand()
        .filter(
            Q(place__kind=PlaceKind.SHELF, place__room=room)
            | Q(place__kind=PlaceKind.SECTION, place__kit__in=kits),
            lot__in=Lot.objects.filter(expiring_before(through + timedelta(days=1))),
        )
        .select_related("place__room", "place__kit__room", "lot__item")
    )
    return _in_order(rows)


def _in_order(rows: Iterable[Holding]) -> list[HeldBatch]:
    rows = list(rows)
    batches = readiness.batches({row.lot_id: row.lot for row in rows}.values())
    return sorted(
        (_held_batch(row, batches[row.lot_id]) for row in rows),
        key=lambda each: (
            each.good_until or date.max,
            each.lot.item.name,
            each.place.position,
            each.place.pk,
            each.lot.pk,
        ),
    )


def _held_batch(row: Holding, batch: Batch) -> HeldBatch:
    place = row.place
    fault = why_not(batch, clock.today(place.room_now.time_zone))
    return HeldBatch(place, row.lot, row.units, fault, good_through(batch))


def held_batch(actor: Actor, place: int, lot: int) -> HeldBatch:
    """What one place holds of one batch. Raises NotFound."""
    for row in held_batches(actor, place=find.place(actor, place)):
        if row.lot.pk == lot:
            return row
    raise NotFound("such batch in this place")


@dataclass(frozen=True)
class ExpiringBatch:
    """A batch with all the rows of it, and the last day it is good."""

    lot: Lot
    good_until: date
    rows: Sequence[HeldBatch]

    @property
    def units(self) -> int:
        """In all of its places."""
        return sum(row.units for row in self.rows)


def expiring_through(rows: Iterable[HeldBatch], through: date) -> list[ExpiringBatch]:
    """The batches among rows in order that are good through a day at most, in that order."""
    batches = grouped(
        ((row.lot.pk, row.good_until), row)
        for row in rows
        if row.good_until is not None and row.good_until <= through
    )
    return [ExpiringBatch(rows[0].lot, day, rows) for (_lot, day), rows in batches.items()]


def expiring_before(day: date) -> Q:
    """The batches whose last good day is before a day, as a condition on Lot: by the printed date,
    or, of opened packs, by the rule for their opened life."""
    opened = Lot.objects.select_related("item").filter(
        opened_on__isnull=False, item__opened_life_days__isnull=False
    )
    gone = [
        pk
        for pk, batch in readiness.batches(opened).items()
        if (last := good_through(batch)) and last < day
    ]
    return Q(expiry__lt=day) | Q(pk__in=gone)


def dated(rows: Iterable[HeldBatch], *, by_kind: bool) -> list[Dated]:
    """Units for a picture over time, grouped by the kind of item or by where they are."""
    return [
        Dated(row.lot.item.kind if by_kind else row.where, row.good_until, row.units)
        for row in rows
    ]


def movements(actor: Actor, item: Item) -> list[Movement]:
    """The 40 newest movements of an item into, out of or within somebody's rooms."""
    rows = Movement.objects.filter(lot__item=item).select_related(
        "lot", "entry__person", "entry__trip", "from_place__kit", "to_place__kit", "from_room",
        "to_room",
    )  # fmt: skip
    if not actor.everywhere:
        rows = rows.filter(Q(from_room__in=actor.room_ids) | Q(to_room__in=actor.room_ids))
    return [own_side(actor, row) for row in rows.order_by("-id")[:40]]


# ---------------------------------------------------------------------------------------- shelves
@dataclass(frozen=True)
class ShelfSummary:
    """A shelf, how many batches it holds, and when it was last counted."""

    place: Place
    batches: int
    counted: Entry | None


def shelves(room: Room) -> list[ShelfSummary]:
    """The shelves of a room in walking order."""
    places = (
        Place.objects.open()
        .shelves()
        .filter(room=room)
        .select_related("location")
        .annotate(batches=Count("holdings", filter=Q(holdings__units__gt=0)))
    )
    counts = Entry.objects.filter(
        room=room, kind=EntryKind.COUNT, kit__isnull=True, reversed_by__isnull=True
    ).select_related("person")
    last = {
        pk: entry
        for entry in reversed(counts.order_by("-id")[:500])
        for pk in entry.detail_as(CountDetail)["places"]
    }
    return [
        ShelfSummary(place, place.batches, last.get(place.pk))  # type: ignore[attr-defined]  # annotated
        for place in places
    ]


def shelves_of(actor: Actor) -> list[Place]:
    """The shelves in use of all of somebody's rooms, by room, in walking order."""
    return list(
        find.places_of(actor).open().shelves().order_by("room__name", "position", "name", "pk")
    )


def newest_movement(place: Place) -> int:
    """The id of the newest movement into or out of a place; 0 for none."""
    newest: int = _movements_of(place).aggregate(newest=Max("id", default=0))["newest"]
    return newest


def moved_since(place: Place, movement: int) -> set[int]:
    """The batches (ids) of which units went into or out of a place after a movement."""
    return set(_movements_of(place).filter(id__gt=movement).values_list("lot", flat=True))


def _movements_of(place: Place) -> QuerySet[Movement]:
    return Movement.objects.filter(Q(from_place=place) | Q(to_place=place))
