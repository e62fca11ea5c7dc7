"""Stock as a table: one row an item, narrowed and put in order. The number of queries does not
grow with the items."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from gearroom.core.rules.ordering import in_order
from kits.models import Item, Receipt
from kits.rules.buying.order_levels import OrderLevel
from kits.rules.ledger import Units, good_through, usable_through
from kits.rules.stock.lasting import Date, Lasting, Usable, lasting, nearness
from kits.services.lookup import find
from kits.services.stock.order_levels import stock_levels
from kits.services.stock.order_levels.stock_levels import ItemLevel


@dataclass(frozen=True)
class OnHand:
    """An item in a room: all units on its shelves, those usable today, those on order, and the
    order level where the item is stocked or used there."""

    room: Room
    units: int
    usable: int
    level: OrderLevel | None
    on_order: int = 0

    @property
    def low(self) -> bool:
        """Down to its order level, with what is on order."""
        return self.level is not None and self.level.reached(self.usable + self.on_order)


@dataclass(frozen=True)
class ItemStock:
    """An item with what the shelves of each room have of it, what is in kits, the first date on
    the shelves, and how long what is usable there lasts. `used`: in the past year, in a kit of
    these rooms."""

    item: Item
    rooms: Sequence[OnHand]
    in_kits: int
    next_expiry: date | None
    nearness: Date
    lasts: Lasting
    used: bool

    @property
    def low(self) -> bool:
        """Running low in some room."""
        return any(on_hand.low for on_hand in self.rooms)

    @property
    def on_shelves(self) -> int:
        """All units on the shelves of these rooms."""
        return sum(on_hand.units for on_hand in self.rooms)


@dataclass(frozen=True)
class Filter:
    """Which items a table shows; what is empty leaves nothing out. `kind`: a group of items.
    `before`: something on a shelf was last good before that day."""

    search: str = ""
    kind: str = ""
    low: bool = False
    unused: bool = False
    before: date | None = None
    supplier: str = ""

    def fits(self, row: ItemStock) -> bool:
        """Whether a row is one of those wanted, by what is worked out for it."""
        return (
            (row.low or not self.low)
            and not (self.unused and (row.used or not row.on_shelves))
            and (self.before is None or (row.next_expiry or date.max) < self.before)
        )


EVERYTHING = Filter()


@dataclass(frozen=True)
class _Loaded:
    """What the shelves of rooms hold by item and room (ids), with levels, and what is in kits."""

    rooms: Sequence[Room]
    today: dict[int, date]
    units: dict[tuple[int, int], list[Units]]
    levels: dict[tuple[int, int], ItemLevel]
    in_kits: dict[int, int]


def items_in_stock(
    actor: Actor, rooms: Sequence[Room], wanted: Filter = EVERYTHING, *, item: Item | None = None
) -> list[ItemStock]:
    """The items in use, and those retired of which some is left: what is running low in the first
    of the rooms first. `item`: that one alone."""
    held, _shelves = stock_levels.on_shelves(room.pk for room in rooms)
    loaded = _Loaded(
        rooms=rooms,
        today={room.pk: clock.today(room.time_zone) for room in rooms},
        units=grouped(
            ((row.batch.thing.id, room), row) for room, there in held.items() for row in there
        ),
        levels={
            (row.item.pk, room): row
            for room, rows in stock_levels.stocked(rooms, shelves=held).items()
            for row in rows
        },
        in_kits=dict(stock_levels.in_kits_of(find.places_of(actor))),
    )
    left = {of for of, _room in loaded.units} | set(loaded.in_kits)
    items = Item.objects.filter(Q(retired_on__isnull=True) | Q(pk__in=left))
    if item is not None:
        items = items.filter(pk=item.pk)
    if wanted.kind:
        items = items.filter(kind=wanted.kind)
    if wanted.supplier:
        items = items.filter(pk__in=_from_supplier(rooms, wanted.supplier))
    named = items.filter(name__icontains=wanted.search).order_by("name")
    rows = (_item_stock(each, loaded) for each in named)
    return sorted((row for row in rows if wanted.fits(row)), key=_low_first)


def _item_stock(item: Item, loaded: _Loaded) -> ItemStock:
    there = {room.pk: loaded.units.get((item.pk, room.pk), []) for room in loaded.rooms}
    usable = {
        room: [row for row in rows if usable_through(row.batch, loaded.today[room])]
        for room, rows in there.items()
    }
    levels = [loaded.levels.get((item.pk, room.pk)) for room in loaded.rooms]
    count = summed((room, row.count) for room, rows in there.items() for row in rows)
    good = summed((room, row.count) for room, rows in usable.items() for row in rows)
    days = (good_through(row.batch) for rows in there.values() for row in rows)
    first = min((day for day in days if day is not None), default=None)
    today = min(loaded.today.values(), default=clock.today("UTC"))
    week_mean = sum(each.level.week_mean for each in levels if each)
    return ItemStock(
        item=item,
        rooms=[
            OnHand(
                room,
                count[room.pk],
                good[room.pk],
                each.level if each else None,
                each.on_order if each else 0,
            )
            for room, each in zip(loaded.rooms, levels, strict=True)
        ],
        in_kits=loaded.in_kits.get(item.pk, 0),
        next_expiry=first,
        nearness=nearness(first, today),
        lasts=lasting(
            (
                Usable(good_through(row.batch), row.count)
                for rows in usable.values()
                for row in rows
            ),
            week_mean,
            today,
        ),
        used=week_mean > 0,
    )


def _low_first(row: ItemStock) -> tuple[int, str]:
    where = (n for n, on_hand in enumerate(row.rooms) if on_hand.low)
    return next(where, len(row.rooms)), row.item.name.casefold()


# --------------------------------------------------------------------------------------- in order
ORDERS: dict[str, Callable[[ItemStock], Any]] = {
    "name": lambda row: row.item.name.casefold(),
    "group": lambda row: row.item.kind,
    "expiry": lambda row: row.next_expiry,
    "kits": lambda row: row.in_kits,
    "lasts": lambda row: row.lasts.days,
}
"""What a table can be put in order by, besides what a room has (see `AT`)."""
AT = "at-"
"""Before a room's slug: what is usable there."""


def sorted_by(rows: Sequence[ItemStock], by: str, *, down: bool = False) -> list[ItemStock]:
    """Rows by one of ORDERS, or by what a room has; as they are for anything else."""
    if by in ORDERS:
        named = sorted(rows, key=lambda row: row.item.name.casefold())
        return in_order(named, ORDERS[by], down=down)
    slugs = [AT + each.room.slug for each in rows[0].rooms] if rows else []
    if by not in slugs:
        return list(rows)
    place = slugs.index(by)
    return in_order(rows, lambda row: row.rooms[place].usable, down=down)


# -------------------------------------------------------------------------------------- suppliers
def suppliers(rooms: Sequence[Room]) -> list[str]:
    """From whom deliveries came to rooms, by name."""
    rows = Receipt.objects.filter(entry__room__in=rooms).exclude(supplier="")
    names = set(rows.order_by().values_list("supplier", flat=True).distinct())
    return sorted(names, key=str.casefold)


def _from_supplier(rooms: Sequence[Room], name: str) -> set[int]:
    """The items (ids) that a supplier delivered to rooms."""
    rows = Receipt.objects.filter(entry__room__in=rooms).exclude(supplier="").order_by()
    pairs = rows.values_list("lot__item", "supplier").distinct()
    return {item for item, supplier in pairs if supplier == name}
