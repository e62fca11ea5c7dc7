"""Spans of days side by side: which share a day, and in how many rows they are drawn."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Days:
    """From a first day to a last one, both in it."""

    first: date
    last: date

    def meets(self, other: "Days") -> bool:
        """Whether they share a day."""
        return self.first <= other.last and other.first <= self.last


def lanes(spans: Sequence[Days]) -> list[int]:
    """The row (from 0) of each span, in the order given, so that no two in a row share a day: each
    goes in the first row that is free, the one that begins first before the others."""
    found = [0] * len(spans)
    ends: list[date] = []
    for at in sorted(range(len(spans)), key=lambda at: (spans[at].first, spans[at].last, at)):
        free = (lane for lane, end in enumerate(ends) if end < spans[at].first)
        lane = next(free, len(ends))
        ends[lane : lane + 1] = [spans[at].last]
        found[at] = lane
    return found
