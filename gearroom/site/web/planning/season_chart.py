"""A picture of what was used season by season, in numbers that a template draws."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from kits.rules.planning.seasons import Season
from kits.services.text.planning import planning_texts as texts

_HIGH, _STEP, _BAR, _TOP = 120, 52, 20, 18
_MOST_SEASONS = 6


class OfSeason(Protocol):
    """What a season's two bars are of: what was used (`met`; `at_least`: perhaps more), and what
    was wanted and not there (`unmet`). `over`: its last day is past."""

    @property
    def season(self) -> Season:
        """Which it is."""

    @property
    def met(self) -> float:
        """What was used."""

    @property
    def at_least(self) -> bool:
        """Whether it was perhaps more."""

    @property
    def unmet(self) -> int:
        """What was wanted and not there."""

    @property
    def over(self) -> bool:
        """Whether its last day is past."""


_S = TypeVar("_S", bound=OfSeason)


@dataclass(frozen=True)
class Bar:
    """One of a season's two bars, with what stands above it."""

    x: int
    height: int
    label: str

    @property
    def y(self) -> int:
        """Where it begins, from the top down."""
        return _HIGH - self.height

    @property
    def middle(self) -> int:
        """Where its words stand."""
        return self.x + _BAR // 2


@dataclass(frozen=True)
class Column:
    """A season: what was used, and beside it what was wanted and not there."""

    of: OfSeason
    used: Bar
    not_there: Bar

    @property
    def middle(self) -> int:
        """Where its words stand."""
        return self.not_there.x


@dataclass(frozen=True)
class SeasonChart:
    """Uses (called `used_name`) and wants by season; `earlier`: seasons that it leaves out.
    `at_least`: some of its uses are perhaps more."""

    columns: Sequence[Column]
    says: str
    used_name: str
    earlier: int
    at_least: bool
    height: int = _HIGH
    bar: int = _BAR

    @property
    def width(self) -> int:
        """How wide it is."""
        return _STEP * len(self.columns)


def chart(seasons: Sequence[_S], says: Callable[[_S], str], used_name: str) -> SeasonChart | None:
    """The latest seasons, each said in words; None where nothing was used or wanted."""
    latest = seasons[-_MOST_SEASONS:]
    most = max((max(each.met, each.unmet) for each in latest), default=0)
    if not most:
        return None
    scale = (_HIGH - _TOP) / most
    return SeasonChart(
        [_column(at, each, scale) for at, each in enumerate(latest)],
        " ".join(map(says, latest)),
        used_name,
        len(seasons) - len(latest),
        any(each.at_least for each in latest),
    )


def _column(at: int, of: OfSeason, scale: float) -> Column:
    left = at * _STEP + _STEP // 2 - _BAR
    return Column(
        of,
        Bar(left, math.ceil(of.met * scale), texts.number(round(of.met))),
        Bar(left + _BAR, math.ceil(of.unmet * scale), texts.number(of.unmet)),
    )
