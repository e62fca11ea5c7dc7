"""What would change if kits followed another version of their list, and what that takes from
stock. Nothing is written."""

from collections.abc import Sequence
from dataclasses import dataclass

from gearroom.core.acts.act import Actor
from gearroom.core.models import Room
from gearroom.core.rules.grouping import summed
from kits.models import Item, Kit, PackingListVersion, Place
from kits.rules.ledger.expiry import why_not
from kits.rules.lists.versions import Difference, difference, spare
from kits.services.ledger import readiness
from kits.services.lookup import find


@dataclass(frozen=True)
class Units:
    """So many base units of a thing."""

    item: Item
    units: int


@dataclass(frozen=True)
class KitEffect:
    """What a kit would want over what it wants now, want no more, and have left over inside."""

    kit: Kit
    more: Sequence[Units]
    fewer: Sequence[Units]
    spare: Sequence[Units]


@dataclass(frozen=True)
class FromStock:
    """What a room's shelves would have to give: wanted by its kits, usable on its shelves today."""

    room: Room
    item: Item
    wanted: int
    in_stock: int

    @property
    def missing(self) -> int:
        """How many units the shelves do not have."""
        return max(0, self.wanted - self.in_stock)


@dataclass(frozen=True)
class Effect:
    """What following a version would mean for the kits that follow another version of its list."""

    version: PackingListVersion
    kits: Sequence[KitEffect]
    stock: Sequence[FromStock]


def effect(actor: Actor, version: PackingListVersion) -> Effect:
    """What it would mean if the kits that somebody sees, of this list and not of this version,
    followed it. Training kits are left out; the number of queries does not grow with the kits."""
    kits = list(
        find.kits_of(actor)
        .active()
        .filter(list_version__packing_list=version.packing_list_id, training=False)
        .exclude(list_version=version)
    )
    states = readiness.states(kit.pk for kit in kits)
    lines = readiness.lines_of([version.pk]).get(version.pk, ())
    changes = {kit.pk: difference(states[kit.pk], lines, readiness.today_of(kit)) for kit in kits}
    left = {kit.pk: spare(states[kit.pk], lines) for kit in kits}
    named = {pk for c in changes.values() for pk in (*c.more, *c.fewer)}
    items = Item.objects.in_bulk(named.union(*(s.keys() for s in left.values())))
    return Effect(
        version,
        [
            KitEffect(
                kit,
                _units(items, changes[kit.pk].more),
                _units(items, changes[kit.pk].fewer),
                _units(items, left[kit.pk]),
            )
            for kit in kits
        ],
        _from_stock(kits, changes, items),
    )


def _units(items: dict[int, Item], counts: dict[int, int]) -> list[Units]:
    rows = [Units(items[pk], count) for pk, count in counts.items()]
    return sorted(rows, key=lambda row: row.item.name)


def _from_stock(
    kits: Sequence[Kit], changes: dict[int, Difference], items: dict[int, Item]
) -> list[FromStock]:
    rooms = {kit.home_room_id: kit.home_room for kit in kits}
    wanted = summed(
        ((kit.home_room_id, item), count)
        for kit in kits
        for item, count in changes[kit.pk].more.items()
    )
    shelves = dict(Place.objects.shelves().filter(room__in=rooms).values_list("pk", "room_id"))
    today = {kit.home_room_id: readiness.today_of(kit) for kit in kits}
    there = summed(
        ((room, batch.thing.id), count)
        for place, held in readiness.units_in(shelves).items()
        if (room := shelves[place]) is not None
        for batch, count in held
        if why_not(batch, today[room]) is None
    )
    return sorted(
        (
            FromStock(rooms[room], items[item], count, there[room, item])
            for (room, item), count in wanted.items()
        ),
        key=lambda row: (row.room.name, row.item.name),
    )
