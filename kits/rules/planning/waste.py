"""What goes out of date unused, and what carrying comes to in money.

Batches are used in the order of their expiry. What is wanted up to a batch's last good day is taken
from it and, when it is used up, from the later ones; what is left of it then is wasted.
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

import numpy as np

from kits.rules.planning.demand import (
    Probabilities,
    Rate,
    lumps,
    nodes,
    occasions_per_use,
    poissons,
)
from kits.rules.planning.quantities import lacking_units

NODES = 32
"""Rates over which the chances are taken together (Gauss and Laguerre's quadrature)."""
DAYS_A_YEAR = 365.25
CENT = Decimal("0.01")
LEAST_SAVING = Decimal(5)
"""Fewer of an item are spoken of only where at least so much a year would be saved, in the currency
that was paid: changing a list takes an hour of people's time, and for pennies nobody should carry
less."""


@dataclass(frozen=True)
class Batch:
    """Units (0 or more) that are good for `exposure` participant-days from now (0 or more)."""

    units: int
    exposure: float

    def __post_init__(self) -> None:
        if self.units < 0 or self.exposure < 0:
            raise ValueError("A batch has 0 units or more, and 0 participant-days or more.")


@dataclass(frozen=True, eq=False)
class Wasted:
    """What of a batch goes out of date: the chance of each number of units."""

    chances: Probabilities

    @property
    def mean(self) -> float:
        """Units on average."""
        return float(self.chances @ np.arange(len(self.chances)))

    @property
    def any(self) -> float:
        """The chance that any unit does."""
        return 1 - float(self.chances[0])


@dataclass(eq=False)
class Wants:
    """What is wanted of an item over spans of participant-days, at each of `NODES` rates, which
    weigh `weights`: given the rate, what is wanted in one span does not depend on another. Each
    span is worked out once."""

    rate: Rate
    units: Probabilities
    _spans: dict[float, Probabilities] = field(default_factory=dict)

    @cached_property
    def _nodes(self) -> tuple[Probabilities, Probabilities]:
        rates, weights = nodes(self.rate, NODES)
        count = weights > 1e-14
        return rates[count], weights[count]

    @cached_property
    def _severity(self) -> Probabilities:
        return lumps(self.rate.dispersion, self.units)

    @property
    def weights(self) -> Probabilities:
        """How much each rate is believed."""
        return self._nodes[1]

    def over(self, exposure: float, most: int) -> Probabilities:
        """Chances of 0 to `most` units, a column for each rate."""
        known = self._spans.get(exposure)
        if known is None or len(known) <= most:
            means = self._nodes[0] * (occasions_per_use(self.rate.dispersion) * exposure)
            known = self._spans[exposure] = poissons(means, self._severity, most)
        return known[: most + 1]


def wasted(
    batches: Sequence[Batch], increments: Sequence[Probabilities], weights: Probabilities
) -> list[Wasted]:
    """What is wasted of each batch, in order of expiry. `increments[j]` is the demand between the
    last good days of batch j - 1 and batch j, independent of each other at each rate: chances of 0,
    1, 2 … units, a column for each rate, which weigh `weights`."""
    found = []
    left = sum(each.units for each in batches)
    over = np.ones((1, len(weights)))  # units wanted of later batches already
    for batch, wants in zip(batches, increments, strict=True):
        want = _added(over, wants, left)  # more than all there is makes no difference
        chances = want @ weights
        unused = chances[: batch.units + 1][::-1].copy()
        unused[0] += float(chances[batch.units + 1 :].sum())
        found.append(Wasted(unused))
        over = want[batch.units :].copy()
        over[0] = want[: batch.units + 1].sum(axis=0)
        left -= batch.units
    return found


def _added(over: Probabilities, wants: Probabilities, most: int) -> Probabilities:
    """Chances of the sum of both, all that is more than `most` counted as `most`; what was cut off
    at the tail too."""
    found = np.zeros((most + 1, over.shape[1]))
    for units, chances in enumerate(over):
        kept = wants[: most + 1 - units]
        found[units : units + len(kept)] += chances * kept
    found[most] += np.maximum(0.0, 1.0 - found.sum(axis=0))
    return found


def expires_unused(wants: Wants, batches: Sequence[Batch]) -> list[Wasted]:
    """What goes out of date unused of each batch; `batches` with exposures that do not fall."""
    if any(a.exposure > b.exposure for a, b in itertools.pairwise(batches)):
        raise ValueError("Batches are given in order of expiry.")
    most = sum(each.units for each in batches)
    ends = [0.0, *(each.exposure for each in batches)]
    spans = [wants.over(end - begin, most) for begin, end in itertools.pairwise(ends)]
    return wasted(batches, spans, wants.weights)


def left_of_fresh_fill(demand: Probabilities, units: int) -> float:
    """Units of a fresh fill that go out of date on average: E[(q - D)+], `demand` over its shelf
    life."""
    mean = float((demand * np.arange(len(demand))).sum())
    return max(0.0, units - (mean - lacking_units(demand, units)))


@dataclass(frozen=True)
class YearlyCost:
    """What a line comes to in a year at a price a unit: in all, and what of it is thrown away."""

    carrying: Decimal
    waste: Decimal


def cost_per_year(
    price: Decimal, units: int, demand: Probabilities, shelf_life_days: int | None
) -> YearlyCost:
    """What carrying `units` comes to in a year; `demand` over the shelf life in days (1 or more).

    What does not expire (None) is never thrown away for its date, and `demand` is then that of a
    year.
    """
    if price < 0 or (shelf_life_days is not None and shelf_life_days < 1):
        raise ValueError("A price is 0 or more, and a shelf life one day or more.")
    mean = float((demand * np.arange(len(demand))).sum())
    used = mean - lacking_units(demand, units)
    left = 0.0 if shelf_life_days is None else left_of_fresh_fill(demand, units)
    years = 1.0 if shelf_life_days is None else shelf_life_days / DAYS_A_YEAR
    return YearlyCost(_money(price, (left + used) / years), _money(price, left / years))


def cost_of_keeping(
    price: Decimal, units: int, shelf_life_days: int | None, lost_a_year: float
) -> YearlyCost:
    """What `units` of an item that comes back after each use come to in a year: bought again when
    their date is over (None: they have none), and those that get lost. None is thrown away unused.
    """
    if price < 0 or lost_a_year < 0 or (shelf_life_days is not None and shelf_life_days < 1):
        raise ValueError("A price and losses are 0 or more, and a shelf life one day or more.")
    renewed = 0.0 if shelf_life_days is None else units * DAYS_A_YEAR / shelf_life_days
    return YearlyCost(_money(price, renewed + lost_a_year), Decimal(0))


def _money(price: Decimal, units: float) -> Decimal:
    return (price * Decimal(repr(units))).quantize(CENT)


def whole(costs: Iterable[tuple[str, YearlyCost]]) -> dict[str, YearlyCost]:
    """The sum of what lines come to in a year, for each currency."""
    sums: dict[str, YearlyCost] = {}
    for currency, each in costs:
        so_far = sums.get(currency, YearlyCost(Decimal(0), Decimal(0)))
        sums[currency] = YearlyCost(so_far.carrying + each.carrying, so_far.waste + each.waste)
    return sums
