"""How much of each item a room's shelves have, and at how much it is to be ordered."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Min, Sum

from gearroom.core import clock
from gearroom.core.acts import Act
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from kits.models import (
    Holding,
    Item,
    PackCode,
    Place,
    PlaceKind,
    Receipt,
    RoomOrderLevel,
)
from kits.models.stock.places import PlaceQuerySet
from kits.rules.buying.order_levels import OrderLevel, Setting, order_level
from kits.rules.ledger import Units, usable_through
from kits.rules.restocking.shelves import shelves_of
from kits.services.ledger import readiness
from kits.services.orders import on_order
from kits.services.orders.on_order import OpenLine
from kits.services.stock.order_levels import deliveries, stock_use
from kits.services.text.amounts import units as whole

LOOKS_BACK_DAYS = 365
"""So far back use counts for a level."""
NEEDED_DAYS = 548
"""What nobody used for so long, and no kit of the room carries, is not needed there."""


@dataclass(frozen=True)
class ItemLevel:
    """An item in a room: units usable today on its shelves, its order level, how many days a
    delivery takes, and what of it is to come (`orders`), of which `on_order` may be counted on."""

    item: Item
    room: Room
    stock: int
    level: OrderLevel
    lead_days: int
    orders: Sequence[OpenLine] = ()
    on_order: int = 0

    @property
    def low(self) -> bool:
        """Down to its order level, with what is on order."""
        return self.level.reached(self.stock + self.on_order)


def on_shelves(rooms: Iterable[int]) -> tuple[dict[int, list[Units]], dict[int, Place]]:
    """What the shelves of rooms hold, by room id, and the shelves by id, in shelf order. A unit's
    `place` is its shelf's id."""
    shelves = {
        p.pk: p
        for p in Place.objects.open()
        .shelves()
        .filter(room__in=list(rooms))
        .select_related("location")
        .order_by("room", "position", "name", "pk")
    }
    contents = readiness.units_in(shelves)
    held = grouped(
        (shelf.room_id or 0, Units(batch, str(pk), count))
        for pk, shelf in shelves.items()
        for batch, count in contents.get(pk, ())
    )
    return held, shelves


def in_kits_of(places: PlaceQuerySet) -> list[tuple[int, int]]:
    """How many units of each item (its id) the kits among places hold."""
    return list(
        Holding.objects.on_hand()
        .filter(place__kind=PlaceKind.SECTION, place__in=places.values("pk"))
        .values_list("lot__item")
        .annotate(units=Sum("units"))
        .order_by()
    )


def stocked(
    rooms: Sequence[Room],
    *,
    shelves: dict[int, list[Units]] | None = None,
    orders: Sequence[OpenLine] | None = None,
) -> dict[int, list[ItemLevel]]:
    """The items that rooms stock or use, by room id, each with its stock and order level.

    `shelves` is the answer of `on_shelves`, and `orders` what is to come for these rooms, where
    they are at hand.
    """
    if not rooms:
        return {}
    by_id = {room.pk: room for room in rooms}
    held = on_shelves(by_id)[0] if shelves is None else shelves
    today = {pk: clock.today(room.time_zone) for pk, room in by_id.items()}
    usable = summed(
        ((room, row.batch.thing.id), row.count)
        for room, there in held.items()
        for row in there
        if usable_through(row.batch, today[room])
    )
    back = min(today.values())
    uses = stock_use.uses(by_id, back - timedelta(days=NEEDED_DAYS))
    carried, set_here = stock_use.carried(by_id), levels_of_rooms(by_id)
    to_come = on_order.open_lines(rooms) if orders is None else orders
    lines_of, coming = on_order.by_item(to_come), on_order.coming(to_come)
    known = (
        set(uses)
        | {key for key, level in set_here.items() if level is not None}
        | set(
            Holding.objects.filter(
                place__room__in=by_id,
                place__kind=PlaceKind.SHELF,
                lot__item__order_down_to__isnull=False,
            )
            .values_list("place__room", "lot__item")
            .distinct()
            .order_by()
        )
    )
    items = Item.objects.filter(retired_on=None).in_bulk({item for _, item in known})
    first = first_received(items)
    waits = deliveries.lead_days(items.values())
    boxes = _boxes(item for item in items.values() if item.by_eye)
    since = back - timedelta(days=LOOKS_BACK_DAYS)
    levels: dict[int, list[ItemLevel]] = defaultdict(list)
    for room, pk in sorted(known):
        if item := items.get(pk):
            zone = by_id[room].time_zone
            began = clock.local_date(first[pk], zone) if pk in first else since
            own = set_here.get((room, pk))
            level = order_level(
                uses.get((room, pk), ()),
                recorded_from=min(max(began, since), today[room]),
                today=today[room],
                setting=Setting(
                    lead_days=waits[pk],
                    by_hand=item.order_down_to if own is None else own,
                    here=own is not None,
                    needed=(room, pk) in uses or (room, pk) in carried,
                    counted=not item.by_eye,
                    box=boxes.get(pk, 1),
                ),
            )
            levels[room].append(
                ItemLevel(
                    item,
                    by_id[room],
                    usable[room, pk],
                    level,
                    waits[pk],
                    lines_of.get((room, pk), ()),
                    coming[room, pk],
                )
            )
    return levels


def levels_of_rooms(rooms: Iterable[int]) -> dict[tuple[int, int], int | None]:
    """The order levels that somebody set for rooms, by room and item (ids); None where they took
    that back."""
    rows = RoomOrderLevel.objects.filter(room__in=list(rooms)).order_by("id")
    return {(room, item): units for room, item, units in rows.values_list("room", "item", "units")}


def set_level(act: Act, room: Room, item: Item, units: int | None) -> RoomOrderLevel:
    """Set at how many units a room orders an item; None: as it is for all rooms. Raises Invalid;
    NotAllowed for whoever may not receive stock there."""
    act.actor.require("receive", room.pk)
    return RoomOrderLevel.objects.create(
        room=room,
        item=item,
        units=None if units is None else whole(units, least=0),
        stated_by=act.person,
        stated_at=act.received_at,
    )


def first_received(items: Iterable[int]) -> dict[int, datetime]:
    """When each item first came, by id."""
    return dict(
        Receipt.objects.filter(lot__item__in=items)
        .values_list("lot__item")
        .annotate(first=Min("entry__occurred_at"))
        .order_by()
    )


def _boxes(loose: Iterable[Item]) -> dict[int, int]:
    """How many units a box of each loose item holds: the smallest whose code is on record."""
    return dict(
        PackCode.objects.filter(item__in=[item.pk for item in loose])
        .values_list("item")
        .annotate(box=Min("units_per_pack"))
        .order_by()
    )


class Stockroom:
    """What several digests share: what each room's shelves hold, and where that is low. A room is
    loaded once, so one stockroom serves a whole run."""

    def __init__(self) -> None:
        self.units: dict[int, dict[int, list[Units]]] = {}
        self.shelves: dict[int, Place] = {}
        self.stocked: dict[int, list[ItemLevel]] = {}
        self.orders: list[OpenLine] = []
        self._lead_days: dict[int, int] = {}

    def load(self, rooms: Iterable[Room]) -> None:
        """Have these rooms at hand."""
        new = {room.pk: room for room in rooms if room.pk not in self.units}
        if not new:
            return
        units, shelves = on_shelves(new)
        self.shelves |= shelves
        orders = on_order.open_lines(new.values())
        self.orders += orders
        self.stocked |= stocked(list(new.values()), shelves=units, orders=orders)
        self.units |= {room: shelves_of(units.get(room, ())) for room in new}

    def lead_days(self, things: set[int]) -> dict[int, int]:
        """How many days these items take to come, by id."""
        if unknown := things - set(self._lead_days):
            self._lead_days |= deliveries.lead_days(Item.objects.filter(pk__in=unknown))
        return self._lead_days
