"""What goes out of date unused, and what carrying comes to in money.

Batches are used in the order of their expiry. What is wanted up to a batch's last good day is taken
from it and, when it is used up, from the later ones; what is left of it then is wasted.
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from kits.rules.planning.demand import Probabilities, Rate, lumps, nodes, occasions_per_use, poisson
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


@dataclass(frozen=True)
class Wasted:
    """What of a batch goes out of date: on average, and the chance of each number of units."""

    mean: float
    chances: tuple[float, ...]

    @property
    def any(self) -> float:
        """The chance that any unit does."""
        return 1 - self.chances[0]


def wasted(batches: Sequence[Batch], increments: Sequence[Probabilities]) -> list[Wasted]:
    """What is wasted of each batch, in order of expiry, where `increments[j]` is the demand between
    the last good days of batch j - 1 and batch j, independent of each other."""
    found = []
    over: Probabilities = np.ones(1)  # units wanted of later batches already
    for j, (batch, wants) in enumerate(zip(batches, increments, strict=True)):
        later = sum(each.units for each in batches[j + 1 :])
        most = batch.units + later  # more than all there is makes no difference
        want = _clipped(np.convolve(over, wants), most)
        left = np.zeros(batch.units + 1)
        for units in range(min(batch.units, len(want) - 1) + 1):
            left[batch.units - units] += want[units]
        left[0] += float(want[batch.units + 1 :].sum())
        found.append(_as_wasted(left))
        over = _over(want, batch.units, later)
    return found


def _clipped(chances: Probabilities, most: int) -> Probabilities:
    """All that is more than `most` counted as `most`; what was cut off at the tail too."""
    found = np.zeros(most + 1)
    kept = chances[: most + 1]
    found[: len(kept)] = kept
    found[most] += max(0.0, 1.0 - float(kept.sum()))
    return found


def _over(want: Probabilities, units: int, later: int) -> Probabilities:
    found = np.zeros(later + 1)
    found[0] = float(want[: units + 1].sum())
    above = want[units + 1 :]
    found[1 : 1 + len(above)] = above[:later]
    return found


def _as_wasted(left: Probabilities) -> Wasted:
    mean = float((left * np.arange(len(left))).sum())
    return Wasted(mean, tuple(float(each) for each in left))


def expires_unused(rate: Rate, batches: Sequence[Batch], units: Probabilities) -> list[Wasted]:
    """What goes out of date unused of each batch; `batches` with exposures that do not fall.

    Given the rate, what is wanted in one span does not depend on another; so it is worked out for
    each of `NODES` rates and weighed by what is believed of them.
    """
    if any(a.exposure > b.exposure for a, b in itertools.pairwise(batches)):
        raise ValueError("Batches are given in order of expiry.")
    spans = np.diff([0.0, *(each.exposure for each in batches)])
    severity = lumps(rate.dispersion, units)
    most = sum(each.units for each in batches)
    points, weights = nodes(rate, NODES)
    whole = [np.zeros(each.units + 1) for each in batches]
    for point, weight in zip(points, weights, strict=True):
        if weight < 1e-14:
            continue
        occasions = float(point) * occasions_per_use(rate.dispersion)
        wants = [poisson(occasions * float(span), severity, most) for span in spans]
        for sums, each in zip(whole, wasted(batches, wants), strict=True):
            sums += weight * np.asarray(each.chances)
    return [_as_wasted(each) for each in whole]


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
