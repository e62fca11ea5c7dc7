"""How two versions of a kit list differ: lines, reasons, and what they say of themselves; and what
would change if kits followed another one, with what that takes from stock. Nothing is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.grouping import summed
from kits.models import Item, Kit, ListLine, NotCarried, PackingListVersion, Place
from kits.rules.ledger import Line, why_not
from kits.rules.lists.versions import (
    Comparison,
    Difference,
    compare,
    difference,
    must_haves_gone,
    spare,
)
from kits.services.ledger import readiness
from kits.services.lists.not_carried import NotCarriedDraft, draft_of
from kits.services.lookup import find


@dataclass(frozen=True)
class OtherReason:
    """A line of both versions that says otherwise why its thing is there."""

    line: ListLine
    was: str


@dataclass(frozen=True)
class VersionsCompared:
    """How a later version differs from an earlier: its lines, what it says of itself (`properties`
    maps people, days, hazards to the two values), and why things are there (`reasons`)."""

    before: PackingListVersion
    after: PackingListVersion
    lines: Comparison
    properties: dict[str, tuple[Any, Any]]
    reasons: tuple[OtherReason, ...]


def compared(before: PackingListVersion, after: PackingListVersion) -> VersionsCompared:
    """Compare two versions."""
    lines: dict[int, tuple[Line, ...]] = readiness.lines_of({before.pk, after.pk})
    properties = {
        name: (getattr(before, name), getattr(after, name))
        for name in ("people", "days", "hazards")
        if getattr(before, name) != getattr(after, name)
    }
    comparison = compare(lines.get(before.pk, ()), lines.get(after.pk, ()))
    return VersionsCompared(before, after, comparison, properties, _other_reasons(before, after))


def _other_reasons(
    before: PackingListVersion, after: PackingListVersion
) -> tuple[OtherReason, ...]:
    def lines(version: PackingListVersion) -> dict[tuple[str, int], ListLine]:
        rows = ListLine.objects.filter(section__version=version).select_related("item", "section")
        return {
            (row.section.key, row.item_id): row
            for row in rows.order_by("section__position", "position", "id")
        }

    was = lines(before)
    return tuple(
        OtherReason(line, was[where].reason)
        for where, line in lines(after).items()
        if where in was and was[where].reason != line.reason
    )


@dataclass(frozen=True)
class LeftOutOtherwise:
    """An item or a need that two versions leave out otherwise: None where one does not."""

    before: NotCarried | None
    after: NotCarried | None


def left_out_otherwise(
    before: PackingListVersion, after: PackingListVersion
) -> list[LeftOutOtherwise]:
    """What two versions leave out otherwise, in the order of the later one."""

    def rows(version: PackingListVersion) -> dict[tuple[int | None, int | None], NotCarried]:
        return {(row.item_id, row.need_id): row for row in version.not_carried.all()}

    def says(row: NotCarried | None) -> NotCarriedDraft | None:
        return draft_of(row) if row else None

    was, now = rows(before), rows(after)
    return [
        LeftOutOtherwise(was.get(key), now.get(key))
        for key in dict.fromkeys([*now, *was])
        if says(was.get(key)) != says(now.get(key))
    ]


# ------------------------------------------------------------------ what following one would change
@dataclass(frozen=True)
class Units:
    """So many base units of a thing."""

    item: Item
    units: int


@dataclass(frozen=True)
class KitEffect:
    """What a kit would want over what it wants now, want no more, and have left over inside; and
    the must-haves of its list now that the other does not have."""

    kit: Kit
    more: Sequence[Units]
    fewer: Sequence[Units]
    spare: Sequence[Units]
    must_haves_gone: Sequence[Item]


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
    gone = {kit.pk: must_haves_gone(states[kit.pk].lines, lines) for kit in kits}
    named = {pk for c in changes.values() for pk in (*c.more, *c.fewer)}.union(*gone.values())
    items = Item.objects.in_bulk(named.union(*(s.keys() for s in left.values())))
    return Effect(
        version,
        [
            KitEffect(
                kit,
                _units(items, changes[kit.pk].more),
                _units(items, changes[kit.pk].fewer),
                _units(items, left[kit.pk]),
                sorted((items[pk] for pk in gone[kit.pk]), key=lambda item: item.name),
            )
            for kit in kits
        ],
        _from_stock(kits, changes, items),
    )


def _units(items: dict[int, Item], counts: dict[int, int]) -> list[Units]:
    return sorted(
        [Units(items[pk], count) for pk, count in counts.items()], key=lambda row: row.item.name
    )


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
