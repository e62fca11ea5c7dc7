"""What goes out of date in which of the next twelve months, in kits: for a sheet on a wall.

The day is the last good one that readiness counts with (`good_through`): the printed date, or the
end of an opened pack's life where that is sooner. The first month has all that is out of date
already, so that nothing drops off the sheet by being late.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from kits.rules.ledger.expiry import date_known, good_through
from kits.rules.ledger.facts import Criticality, KitState, Units
from kits.rules.ledger.kit_contents import home_line

MONTHS = 12


@dataclass(frozen=True)
class Expiring:
    """Units of an item in a kit whose last good day is the same; `must_have`: a must-have line of
    its list counts with them."""

    kit: str
    item: str
    units: int
    day: date
    must_have: bool


@dataclass(frozen=True)
class Month:
    """A month from its first day, with what goes out of date in it: must-haves first, then by
    day."""

    first: date
    rows: tuple[Expiring, ...]

    @property
    def has_earlier(self) -> bool:
        """Whether something went out of date before the month began."""
        return any(row.day < self.first for row in self.rows)


@dataclass(frozen=True)
class WallCalendar:
    """Twelve months; `later` rows have a date after them. `undated`: items of kits that should
    have a date, and none is on record."""

    months: tuple[Month, ...]
    later: int
    undated: int


def wall_calendar(kits: Iterable[KitState], today: date) -> WallCalendar:
    """The twelve months from that of `today`, over all that is in these kits."""
    units: dict[tuple[str, str, date], int] = defaultdict(int)
    must_haves: set[tuple[str, str, date]] = set()
    undated: set[tuple[int, int]] = set()
    for kit in kits:
        for each in kit.units:
            day = good_through(each.batch)
            if each.count > 0 and day is not None:
                key = (kit.name, each.batch.thing.name, day)
                units[key] += each.count
                must_haves |= {key} if _must_have(kit, each) else set()
            if each.count > 0 and not date_known(each.batch):
                undated.add((kit.id, each.batch.thing.id))
    now = _number(today)
    by_month: dict[int, list[Expiring]] = defaultdict(list)
    for key, count in units.items():
        row = Expiring(key[0], key[1], count, key[2], key in must_haves)
        by_month[min(max(_number(row.day) - now, 0), MONTHS)].append(row)
    return WallCalendar(
        months=tuple(
            Month(_first(now + n), tuple(sorted(by_month[n], key=_order))) for n in range(MONTHS)
        ),
        later=len(by_month[MONTHS]),
        undated=len(undated),
    )


def _must_have(kit: KitState, units: Units) -> bool:
    line = home_line(kit, units)
    return line is not None and line.criticality is Criticality.MUST_HAVE


def _order(row: Expiring) -> tuple[bool, date, str, str]:
    return not row.must_have, row.day, row.kit, row.item


def _number(day: date) -> int:
    return day.year * 12 + day.month - 1


def _first(month: int) -> date:
    return date(month // 12, month % 12 + 1, 1)
