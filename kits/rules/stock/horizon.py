"""When stock goes out of date: units by the month they are last good in, on an axis of months.

An axis begins with what is out of date already, goes on month by month, and ends with all that is
good for longer. What needs no date, or has none on record, is beside it. The picture of it is
laid out here in whole steps, so that a page only draws what it is given.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

FEWEST_MONTHS, MOST_MONTHS = 12, 36
"""How many months an axis has at least and at most."""


@dataclass(frozen=True)
class Dated:
    """Units of one group that are good through `good_until` (None: no date)."""

    group: str
    good_until: date | None
    units: int


@dataclass(frozen=True)
class Column:
    """The units whose last good day falls into one month, by group. `first` is the first day of
    the month; None for what is past and for what comes after the last month."""

    first: date | None
    units: tuple[int, ...]

    @property
    def total(self) -> int:
        """All units of the column."""
        return sum(self.units)


@dataclass(frozen=True)
class Axis:
    """Columns over time: `past` (last good day before today), each month from today's on, `later`;
    and beside them `undated`. `groups` names what each column's units stand for, in order."""

    groups: tuple[str, ...]
    past: Column
    months: tuple[Column, ...]
    later: Column
    undated: Column

    @property
    def columns(self) -> tuple[Column, ...]:
        """All columns on the axis, in the order of time."""
        return (self.past, *self.months, self.later)

    @property
    def most(self) -> int:
        """The units of the highest column."""
        return max(column.total for column in self.columns)


def months_for(rows: Iterable[Dated], today: date) -> int:
    """How many months from today's an axis needs to show every row by its month, within what is
    still easy to read (`FEWEST_MONTHS` to `MOST_MONTHS`)."""
    last = max((row.good_until for row in rows if row.good_until is not None), default=today)
    needed = (last.year - today.year) * 12 + last.month - today.month + 1
    return max(FEWEST_MONTHS, min(needed, MOST_MONTHS))


def axis(rows: Iterable[Dated], groups: Sequence[str], *, today: date, months: int) -> Axis:
    """Lay units out over `months` months (1 or more) from that of `today`.

    What is good until some day of this month before today is past. Raises `ValueError` for a group
    that is not among `groups`, fewer units than 0, or fewer months than 1.
    """
    if months < 1:
        raise ValueError(f"An axis of {months} months cannot be drawn: give 1 or more.")
    index = {name: n for n, name in enumerate(groups)}
    now = today.year * 12 + today.month - 1
    counts: dict[int | None, list[int]] = defaultdict(lambda: [0] * len(groups))
    for row in rows:
        if row.group not in index or row.units < 0:
            raise ValueError(f"{row} has no place on an axis of {', '.join(groups)}.")
        counts[_column(row.good_until, today, now, months)][index[row.group]] += row.units

    def column(number: int | None) -> Column:
        month = now + (number or 0)
        inside = number is not None and 0 <= number < months
        return Column(
            date(month // 12, month % 12 + 1, 1) if inside else None, tuple(counts[number])
        )

    return Axis(
        groups=tuple(groups),
        past=column(-1),
        months=tuple(column(number) for number in range(months)),
        later=column(months),
        undated=column(None),
    )


def _column(day: date | None, today: date, now: int, months: int) -> int | None:
    if day is None:
        return None
    return -1 if day < today else min(day.year * 12 + day.month - 1 - now, months)


@dataclass(frozen=True)
class Bar:
    """One group's part of a column as a rectangle, in whole steps from the top left."""

    group: int
    x: int
    y: int
    width: int
    height: int


def bars(of: Axis, *, height: int, step: int, width: int) -> list[list[Bar]]:
    """The stacked bars of each column, first group at the foot; `step` from column to column.

    The highest column fills `height`. A part that has units is at least 2 high, so that a few among
    many can still be seen; columns then may be higher than their share, never higher than `height`
    and 2 for each group.
    """
    drawn = []
    most = max(of.most, 1)
    for number, column in enumerate(of.columns):
        foot = height
        stack = []
        for group, units in enumerate(column.units):
            if units:
                high = max(2, units * height // most)
                foot -= high
                stack.append(Bar(group, number * step + (step - width) // 2, foot, width, high))
        drawn.append(stack)
    return drawn
