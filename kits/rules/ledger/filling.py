"""What a kit has beside what its list asks for, line by line."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger.allocation import Allocation
from kits.rules.ledger.facts import KitState, Level, Line, Units
from kits.rules.ledger.kit_contents import (
    counted_lines,
    home_line,
    inside,
    level_of,
    usable_supply,
)


@dataclass(frozen=True)
class Filled:
    """A line and what is there for it: the `units` that belong to it, of which so many are `good`
    through the day that was asked about; where it is judged by eye its `level` instead."""

    line: Line
    units: Sequence[Units]
    good: int
    level: Level | None = None

    @property
    def there(self) -> int:
        """How many units are there, good or not."""
        return sum(x.count for x in self.units)

    @property
    def complete(self) -> bool:
        """Whether the list asks for no more."""
        if self.line.thing.by_eye:
            return self.level is Level.FULL
        return self.good >= self.line.target

    @property
    def below_minimum(self) -> bool:
        """Whether there is less than the list says there must never be."""
        if self.line.thing.by_eye:
            return self.line.never_below > 0 and self.level not in (Level.FULL, Level.LOW)
        return self.good < self.line.never_below


@dataclass(frozen=True)
class Filling:
    """The lines of a kit in the order of its list, and the units that no line asks for."""

    lines: Sequence[Filled]
    others: Sequence[Units]


def filling(kit: KitState, through: date) -> Filling:
    """Return what is in `kit` beside what its list asks for. Units are shared among lines as they
    are where the kit is judged for that day (see `readiness.judge`)."""
    units = inside(kit)
    counted = counted_lines(kit)
    allocation = Allocation(counted)
    allocation.add(usable_supply(units, through))
    allocation.meet_all()
    good = {line.id: allocation.got(i) for i, line in enumerate(counted)}
    homes = [(home_line(kit, x), x) for x in units]
    at_home = grouped((home.id, x) for home, x in homes if home is not None)
    return Filling(
        [
            Filled(
                line,
                tuple(at_home[line.id]),
                good.get(line.id, 0),
                _level(kit, line) if line.thing.by_eye else None,
            )
            for line in kit.lines
        ],
        [x for home, x in homes if home is None],
    )


def _level(kit: KitState, line: Line) -> Level | None:
    return Level.EMPTY if line.section in kit.away else level_of(kit, line)
