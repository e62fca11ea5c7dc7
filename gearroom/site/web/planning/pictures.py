"""Pictures of plans, in numbers that a template draws: bars of demand, a hundred icons."""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.rules.planning.quantities import Bar

BAR, GAP, HIGH, TOP = 26, 6, 72, 18


@dataclass(frozen=True)
class DrawnBar:
    """A bar of the chart: where it stands and how high it is, as the picture writes numbers."""

    bar: Bar
    x: int
    y: str
    height: str

    @property
    def look(self) -> str:
        """Its class: more than is carried looks different."""
        return "over" if self.bar.over else "within"

    @property
    def label(self) -> str:
        """What stands below it."""
        before, after = "≤" * self.bar.or_fewer, "+" * self.bar.or_more
        return f"{before}{self.bar.units}{after}"

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


def chart(bars: Sequence[Bar]) -> Chart:
    """The bars, as high as the most likely of them is likely."""
    most = max((each.chance for each in bars), default=1.0) or 1.0
    drawn = []
    for at, each in enumerate(bars):
        height = each.chance / most * (HIGH - TOP)
        x = GAP + at * (BAR + GAP)
        drawn.append(DrawnBar(each, x, f"{HIGH - height:.1f}", f"{height:.1f}"))
    enough = sum(not each.over for each in bars)
    return Chart(drawn, GAP + len(bars) * (BAR + GAP), GAP // 2 + enough * (BAR + GAP))


@dataclass(frozen=True)
class Icons:
    """A hundred icons, ten in a row, the first `marked` of them marked."""

    marked: int

    @property
    def squares(self) -> list[tuple[int, int, str]]:
        """Where each stands, and its class: those that are marked look different."""
        return [
            (n % 10 * 12 + 1, n // 10 * 12 + 1, "over" if n < self.marked else "within")
            for n in range(100)
        ]

    @property
    def rest(self) -> int:
        """How many are not."""
        return 100 - self.marked
