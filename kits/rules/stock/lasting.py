"""How long what is usable lasts, at the rate that it was used.

Units are taken soonest out of date first, at a steady rate; what is not taken by its last good day
goes out of date unused. Where no use is on record, what is there lasts until the last of it goes
out of date.
"""

import enum
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

DAYS_A_WEEK = 7
LONGEST_DAYS = 730
"""Nobody plans stock for longer: the longest that a bar shows."""
STEPS = 24
"""How many steps of a bar the longest is: one a month."""
SOON_DAYS = 60
"""How many days ahead a date is soon: time to order, and to use or pass on what is there."""


class Ends(enum.StrEnum):
    """What ends the stock."""

    NOTHING_THERE = "nothing-there"
    USED = "used"
    OUT_OF_DATE = "out-of-date"
    NOT_KNOWN = "not-known"


@dataclass(frozen=True)
class Usable:
    """Units that may be used through `good_through` (None: no date)."""

    good_through: date | None
    units: int


@dataclass(frozen=True)
class Lasting:
    """For how many whole days stock lasts (None where nothing ends it), what ends it, and how many
    units go out of date before they would be used (0 where no use is on record)."""

    ends: Ends
    days: int | None
    unused: int = 0

    @property
    def bar(self) -> int:
        """How many of STEPS a bar has: at least 1 for what lasts a day or longer, none where
        nothing ends it."""
        if self.days is None:
            return 0
        return min(STEPS, math.ceil(self.days * STEPS / LONGEST_DAYS))


class Date(enum.StrEnum):
    """How near the first date of an item's stock is."""

    PAST = "past"
    SOON = "soon"
    LATER = "later"


def nearness(last_day: date | None, today: date) -> Date:
    """How near a last good day is; what has none never comes."""
    if last_day is None:
        return Date.LATER
    if last_day < today:
        return Date.PAST
    return Date.SOON if (last_day - today).days < SOON_DAYS else Date.LATER


def lasting(usable: Iterable[Usable], week_mean: float, today: date) -> Lasting:
    """How long stock lasts that is used at a mean of `week_mean` units a week, 0 or more. What is
    out of date today is not usable: leave it out.

    Raises `ValueError` for a rate below 0.
    """
    if week_mean < 0:
        raise ValueError(f"A use of {week_mean} units a week cannot be: give 0 or more.")
    rows = [row for row in usable if row.units > 0]
    if not rows:
        return Lasting(Ends.NOTHING_THERE, 0)
    if week_mean == 0:
        return _until_out_of_date(rows, today)
    a_day = week_mean / DAYS_A_WEEK
    gone, unused, ends = 0.0, 0.0, Ends.USED
    for row in sorted(rows, key=lambda row: row.good_through or date.max):
        last = math.inf if row.good_through is None else (row.good_through - today).days + 1
        taken = min(row.units, max(0.0, last - gone) * a_day)
        gone += taken / a_day
        unused += row.units - taken
        ends = Ends.USED if taken == row.units else Ends.OUT_OF_DATE
    return Lasting(ends, math.floor(gone + 1e-9), math.floor(unused + 1e-9))


def _until_out_of_date(rows: list[Usable], today: date) -> Lasting:
    days = [row.good_through for row in rows if row.good_through is not None]
    if len(days) < len(rows):
        return Lasting(Ends.NOT_KNOWN, None)
    return Lasting(Ends.OUT_OF_DATE, (max(days) - today).days + 1)
