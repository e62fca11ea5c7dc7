"""Seasons that what happened is told by: quarters of the calendar."""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple


class Season(NamedTuple):
    """A quarter (1 to 4) of a year."""

    year: int
    quarter: int

    @property
    def first(self) -> date:
        """Its first day."""
        return date(self.year, 3 * self.quarter - 2, 1)

    @property
    def last(self) -> date:
        """Its last day."""
        return self.next().first - timedelta(days=1)

    def next(self) -> Season:
        """The season after it."""
        return Season(self.year + self.quarter // 4, self.quarter % 4 + 1)


def season_of(day: date) -> Season:
    """The season that a day is in."""
    return Season(day.year, (day.month + 2) // 3)


def seasons(first: date, last: date) -> list[Season]:
    """All seasons from one day's to another's, in order; none where `last` is before `first`."""
    found = []
    season = season_of(first)
    while season.first <= last:
        found.append(season)
        season = season.next()
    return found
