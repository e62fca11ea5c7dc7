"""How many to carry: what the chances of demand say of a quantity. The choice stays with whoever
signs the list."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kits.rules.planning.demand import Probabilities


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
