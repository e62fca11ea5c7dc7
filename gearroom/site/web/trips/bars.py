"""Bars of a picture with days across: where each stands, and where its name has room."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TypeVar

from kits.rules.trips.lanes import Days

DAY, LANE, BAR, NAMES, HEAD = 32, 36, 30, 130, 40
"""Of the picture, in pixels: how wide a day is, how high a row of bars and a bar in it are, how
wide the kits' names and how high the days' numbers."""
_LETTER = 8
"""About how wide a letter in a bar is."""


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A bar with its name in it; where that is too long after it, else before it (`anchor`), else
    left to what is read out."""

    x: int
    y: int
    width: int
    name: str
    text: str = ""
    text_x: int = 0
    anchor: str = "start"

    @property
    def text_y(self) -> int:
        """Where its name's letters stand on."""
        return self.y + BAR - 10

    @property
    def place(self) -> str:
        """Where its name stands, as a class."""
        return "inside" if self.x <= self.text_x <= self.x + self.width else "beside"

    @property
    def has_room(self) -> bool:
        """Whether a name can be read in it, as it is drawn."""
        return True


AnyBar = TypeVar("AnyBar", bound=Placed)


def across(days: Days, shown: Days) -> tuple[int, int]:
    """Where a bar of these days begins, from the first day shown, and how wide it is, as far as
    they are shown."""
    first, last = max(days.first, shown.first), min(days.last, shown.last)
    return (first - shown.first).days * DAY + 1, ((last - first).days + 1) * DAY - 2


def named(lane: Sequence[AnyBar], begin: int, end: int) -> Iterator[AnyBar]:
    """The bars of a lane from left to right, each with its name where there is room for it."""
    before = begin  # up to where a bar or a name is drawn already
    for bar, after in zip(lane, [*(bar.x for bar in lane[1:]), end], strict=False):
        right = bar.x + bar.width
        needs = len(bar.name) * _LETTER + 8
        drawn = right
        if needs <= bar.width and bar.has_room:
            yield replace(bar, text=bar.name, text_x=bar.x + 5)
        elif needs <= after - right:
            yield replace(bar, text=bar.name, text_x=right + 4)
            drawn += needs
        elif needs <= bar.x - before:
            yield replace(bar, text=bar.name, text_x=bar.x - 4, anchor="end")
        else:
            yield bar
        before = drawn


def columns(shown: Days, today: date, begin: int = 0) -> list[tuple[date, int, str]]:
    """The days with where each begins and the class that it is of."""
    number = (shown.last - shown.first).days + 1
    days = [shown.first + timedelta(days=n) for n in range(number)]
    return [(day, begin + DAY * n, _look(day, today)) for n, day in enumerate(days)]


def _look(day: date, today: date) -> str:
    if day == today:
        return "today"
    return "weekend" if day.weekday() > 4 else "weekday"
