"""How much of each thing a room's shelves have, and at how much it is to be ordered."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Min, Sum

from gearroom.core import clock
from gearroom.core.models import Room
from kits.models import Holding, Item, Movement, Place, PlaceKind, Receipt
from kits.rules.ledger.expiry import usable_through
from kits.rules.ledger.facts import Units
from kits.rules.mail.digest import shelves_of
from kits.rules.stock.ordering import OrderLevel, Use, order_level
from kits.services.ledger import readiness

LOOKS_BACK_DAYS = 365


@dataclass(frozen=True)
class ItemLevel:
    """A thing in a room: units usable today on its shelves, and its order level."""

    item: Item
    room: Room
    stock: int
    level: OrderLevel

    @property
    def low(self) -> bool:
        """Down to its order level."""
        return self.level.reached(self.stock)


def on_shelves(rooms: Iterable[int]) -> tuple[dict[int, list[Units]], dict[int, Place]]:
    """What the shelves of rooms hold, by room id, and the shelves by id, in shelf order. A unit's
    `place` is its shelf's id."""
    shelves = {
        p.pk: p
        for p in Place.objects.open()
        .shelves()
        .filter(room__in=list(rooms))
        .order_by("room", "position", "name", "pk")
    }
    found: dict[int, list[Units]] = defaultdict(list)
    held = readiness.units_in(shelves)
    for pk, shelf in shelves.items():
        assert shelf.room_id is not None  # shelves are a room's
        found[shelf.room_id] += [Units(batch, str(pk), n) for batch, n in held.get(pk, ())]
    return found, shelves


def stocked(
    rooms: Sequence[Room], *, shelves: dict[int, list[Units]] | None = None
) -> dict[int, list[ItemLevel]]:
    """The things that rooms stock or use, by room id, each with its stock and order level.

    `shelves` is what `on_shelves` found, where that was asked for already.
    """
    by_id = {room.pk: room for room in rooms}
    held = on_shelves(by_id)[0] if shelves is None else shelves
    today = {pk: clock.today(room.time_zone) for pk, room in by_id.items()}
    if not by_id:
        return {}
    since = min(today.values()) - timedelta(days=LOOKS_BACK_DAYS)
    usable: dict[tuple[int, int], int] = defaultdict(int)
    for room, units_there in held.items():
        for x in units_there:
            if usable_through(x.batch, today[room]):
                usable[room, x.batch.thing.id] += x.count
    uses: dict[tuple[int, int], list[Use]] = defaultdict(list)
    rows = (
        Movement.objects.filter(
            to_place__kind=PlaceKind.USED,
            from_room__in=by_id,
            entry__reverses__isnull=True,
            entry__reversed_by__isnull=True,
            entry__occurred_at__date__gte=since,
        )
        .values_list("from_room", "lot__item", "entry__occurred_at", "entry")
        .annotate(units=Sum("units"))
        .order_by()
    )
    for room, item, at, _entry, units in rows:
        uses[room, item].append(Use(clock.local_date(at, by_id[room].time_zone), units))
    known = set(uses) | set(
        Holding.objects.filter(
            place__room__in=by_id,
            place__kind=PlaceKind.SHELF,
            lot__item__order_down_to__isnull=False,
        )
        .values_list("place__room", "lot__item")
        .distinct()
        .order_by()
    )
    items = Item.objects.in_bulk({item for _, item in known})
    first = dict(
        Receipt.objects.filter(lot__item__in=items)
        .values_list("lot__item")
        .annotate(first=Min("entry__occurred_at"))
        .order_by()
    )
    found: dict[int, list[ItemLevel]] = defaultdict(list)
    for room, item in sorted(known):
        zone = by_id[room].time_zone
        began = clock.local_date(first[item], zone) if item in first else since
        if items[item].retired_on is not None:
            continue
        level = order_level(
            uses.get((room, item), ()),
            recorded_from=min(max(began, since), today[room]),
            today=today[room],
            lead_days=items[item].lead_time_days,
            by_hand=items[item].order_down_to,
            counted=not items[item].by_eye,
        )
        found[room].append(ItemLevel(items[item], by_id[room], usable[room, item], level))
    return found


class Stockroom:
    """What people share: what each room's shelves hold, and where that is low. A room is loaded
    when it is first asked for, so one stockroom serves a whole run."""

    def __init__(self) -> None:
        self.units: dict[int, dict[int, list[Units]]] = {}
        self.shelves: dict[int, Place] = {}
        self.stocked: dict[int, list[ItemLevel]] = {}
        self._lead_days: dict[int, int] = {}

    def load(self, rooms: Iterable[Room]) -> None:
        """Have these rooms at hand."""
        new = {room.pk: room for room in rooms if room.pk not in self.units}
        if not new:
            return
        units, shelves = on_shelves(new)
        self.shelves |= shelves
        self.stocked |= stocked(list(new.values()), shelves=units)
        self.units |= {room: shelves_of(units.get(room, ())) for room in new}

    def lead_days(self, things: set[int]) -> dict[int, int]:
        """How many days these things take to come, by id."""
        if unknown := things - set(self._lead_days):
            self._lead_days |= Item.objects.filter(pk__in=unknown).values_list(
                "pk", "lead_time_days"
            )
        return self._lead_days
