"""Checking a kit against its record: somebody opened it, and all is as on record but for what they
name.

A check is a look inside, and no count: of what nobody named nothing is written but that it was
looked at. What differs is counted, by item, and the record is then as somebody saw it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core.acts import Act
from gearroom.core.rules.grouping import grouped
from kits.models import Entry, Item, Kit, ListLine, Place
from kits.rules.ledger import Level
from kits.services.kits import history
from kits.services.ledger import LooseLevel
from kits.services.restocking import sorting
from kits.services.stock import counting
from kits.services.stock.counting import CountLine, Difference


@dataclass(frozen=True)
class CheckLine:
    """An item of a section: how many its list asks for (0: it is on no line), how many are on
    record (`level` of what is loose), and the first date after which one of them is not good."""

    place: Place
    item: Item
    carry: int
    there: int
    level: Level | None
    good_until: date | None

    @property
    def short(self) -> bool:
        """Whether fewer are on record than the list asks for."""
        return not self.item.by_eye and self.there < self.carry


@dataclass(frozen=True)
class CheckResult:
    """The look inside, and the differences from the record."""

    entry: Entry
    differences: Sequence[Difference]


def lines(kit: Kit) -> list[CheckLine]:
    """What to look at in a kit, by section: its list's lines in order, then what else is there."""
    inside = history.contents(kit)
    held = grouped(((row.section.pk, row.lot.item_id), row) for row in inside.lines)
    levels = {(place.pk, item.pk): level for place, item, level in inside.levels}
    places = list(kit.sections.open())
    by_key = {place.section_key: place for place in places}
    listed = ListLine.objects.filter(section__version=kit.list_version_id)
    wanted = {
        (by_key[line.section.key], line.item): line.carry
        for line in listed.select_related("item", "section").order_by("section", "position", "pk")
        if line.section.key in by_key
    }
    others = {(row.section, row.lot.item) for row in inside.lines if row.section in places}
    others |= {(place, item) for place, item, _level in inside.levels if place in places}
    for where in sorted(others - wanted.keys(), key=lambda each: each[1].name):
        wanted[where] = 0
    made = []
    for (place, item), carry in wanted.items():
        rows = held.get((place.pk, item.pk), [])
        days = [row.good_until for row in rows if row.good_until is not None]
        level = levels.get((place.pk, item.pk))
        there = sum(row.units for row in rows)
        made.append(CheckLine(place, item, carry, there, level, min(days, default=None)))
    return sorted(made, key=lambda line: places.index(line.place))


def check(
    act: Act, kit: Kit, *, differing: Sequence[CountLine] = (), levels: Sequence[LooseLevel] = ()
) -> CheckResult:
    """Record that somebody opened a kit and that all is as on record but for what is `differing`
    and the `levels` of loose items. Raises as `counting.differences`."""
    differences: Sequence[Difference] = ()
    if differing:
        differences = counting.count(act, list(kit.sections.open()), differing).differences
    return CheckResult(sorting.look_inside(act, kit, levels=levels), differences)
