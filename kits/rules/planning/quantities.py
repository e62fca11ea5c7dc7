"""How many to carry: what the chances of demand say of a quantity. The choice stays with whoever
signs the list."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from kits.rules.planning.demand import Probabilities


class Basis(StrEnum):
    """What can be worked out of how many of an item are enough, and why not."""

    DEMAND = "demand"  # from how often it is wanted
    COMES_BACK = "comes-back"  # it is there again after each use
    LOOSE = "loose"  # nobody counts it
    NO_PURPOSE = "no-purpose"  # nobody said what it is for
    NO_RATE = "no-rate"  # nothing is known of how often it is wanted


def basis(*, loose: bool, used_up: bool, needs: int, with_rate: int) -> Basis:
    """What can be worked out of an item that serves so many `needs`, some of them `with_rate`."""
    if loose:
        return Basis.LOOSE
    if not used_up:
        return Basis.COMES_BACK
    if not needs:
        return Basis.NO_PURPOSE
    return Basis.DEMAND if with_rate else Basis.NO_RATE


def runs_out(demand: Probabilities, quantity: int) -> float:
    """The chance that more than `quantity` units are wanted (0 or more units)."""
    if quantity < 0:
        raise ValueError("A quantity is 0 or more.")
    return max(0.0, 1.0 - float(demand[: quantity + 1].sum()))


def lacking_units(demand: Probabilities, quantity: int) -> float:
    """How many units are lacking on average."""
    units = np.arange(len(demand))
    return float((demand * np.maximum(units - quantity, 0)).sum())


def enough_for(demand: Probabilities, level: float) -> int:
    """The fewest units that are enough with chance `level` (0 to 1, neither)."""
    if not 0 < level < 1:
        raise ValueError("A service level is between 0 and 1.")
    reached = np.flatnonzero(np.cumsum(demand) >= level)
    return int(reached[0]) if reached.size else len(demand)


def proposed(
    demand: Probabilities | None,
    *,
    level: float,
    minimum: int,
    units_per_use: int,
    one_use_at_least: bool,
) -> int:
    """Units for a line: its minimum, one use's units where the line is important or must-have, and
    what is enough with chance `level`, whichever is most. Without a rate (`demand` is None) nothing
    is said of how many are enough."""
    least = max(minimum, units_per_use if one_use_at_least else 0)
    return least if demand is None else max(least, enough_for(demand, level))


@dataclass(frozen=True)
class OneMore:
    """What a quantity comes to beside one fewer and one more: chances that more are wanted."""

    quantity: int
    runs_out: float
    with_one_fewer: float | None
    with_one_more: float


def one_more(demand: Probabilities, quantity: int) -> OneMore:
    """What one unit more or fewer changes."""
    fewer = runs_out(demand, quantity - 1) if quantity else None
    return OneMore(quantity, runs_out(demand, quantity), fewer, runs_out(demand, quantity + 1))


def lacks_something(chances: Iterable[float]) -> float:
    """The chance that a kit lacks something, from the chances that each line runs out, which are
    taken to be independent of each other."""
    whole = 1.0
    for chance in chances:
        if not 0 <= chance <= 1:
            raise ValueError("A chance is from 0 to 1.")
        whole *= 1 - chance
    return 1 - whole


def together(demands: Iterable[Probabilities]) -> Probabilities:
    """Demand for an item that serves several needs: the sum of independent demands."""
    found: Probabilities = np.ones(1)
    for each in demands:
        found = np.convolve(found, each)
    return found


def beyond(demand: Probabilities, carried: int) -> Probabilities:
    """Demand that is left for a substitute once the best item's `carried` units are used up."""
    left = demand[carried:].copy()
    if not left.size:
        return np.ones(1)
    left[0] = float(demand[: carried + 1].sum())
    return left


@dataclass(frozen=True)
class Bar:
    """The chance that so many `units` are wanted, or so many `or_more` or `or_fewer`; `over`: more
    than is carried."""

    units: int
    chance: float
    over: bool
    or_more: bool = False
    or_fewer: bool = False


LEAST_BARS, MOST_BARS = 3, 12
HARDLY = 0.001
"""Bars end where less than this is left of the chances, once they show more than is carried."""


def bars(demand: Probabilities, carried: int) -> list[Bar]:
    """What is wanted in bars: from none on, past what is carried; the last one has all that is
    left. Where that would be too many, the first one has all that is far below what is carried."""
    last = carried + 1
    while last < carried + LEAST_BARS and runs_out(demand, last) > HARDLY:
        last += 1
    found = []
    for units in range(last):
        chance = float(demand[units]) if units < len(demand) else 0.0
        found.append(Bar(units, chance, over=units > carried))
    found.append(Bar(last, runs_out(demand, last - 1), over=True, or_more=True))
    if len(found) > MOST_BARS:
        first = len(found) - MOST_BARS + 1
        low = Bar(first - 1, sum(b.chance for b in found[:first]), over=False, or_fewer=True)
        found = [low, *found[first:]]
    return found
