"""Pictures of plans, in numbers that a template draws: bars of demand, a hundred icons."""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.rules.planning.quantities import Bar

BAR, GAP, HIGH, TOP = 26, 6, 72, 18


@dataclass(frozen=True)
class DrawnBar:
    """A bar of the chart, in its units; `over`: more than is carried."""

    bar: Bar
    x: int
    y: float
    height: float

    @property
    def middle(self) -> int:
        """Where its number stands."""
        return self.x + BAR // 2


@dataclass(frozen=True)
class Chart:
    """Bars of how many units trips want, with a line at what is carried (`mark`)."""

    bars: Sequence[DrawnBar]
    width: int
    mark: int
    height: int = HIGH
    bar_width: int = BAR


def chart(bars: Sequence[Bar]) -> Chart:
    """The bars, as high as the most likely of them is likely."""
    most = max((each.chance for each in bars), default=1.0) or 1.0
    drawn = []
    for at, each in enumerate(bars):
        height = round(each.chance / most * (HIGH - TOP), 1)
        drawn.append(DrawnBar(each, GAP + at * (BAR + GAP), round(HIGH - height, 1), height))
    enough = sum(not each.over for each in bars)
    return Chart(drawn, GAP + len(bars) * (BAR + GAP), GAP // 2 + enough * (BAR + GAP))


@dataclass(frozen=True)
class Icons:
    """A hundred icons, ten in a row, the first `marked` of them marked."""

    marked: int

    @property
    def squares(self) -> list[tuple[int, int, bool]]:
        """Where each stands, and whether it is marked."""
        return [(n % 10 * 12, n // 10 * 12, n < self.marked) for n in range(100)]

    @property
    def rest(self) -> int:
        """How many are not."""
        return 100 - self.marked
