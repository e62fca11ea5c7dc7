"""Whether what was expected happened: of the last season, from all that was on record before it.

Given a need's rate, trips are independent of each other; what is not known of the rate is common to
all of them, so it is worked out for several rates and weighed by what is believed of each.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from kits.rules.planning import demand as demands, quantities
from kits.rules.planning.demand import Probabilities, Rate
from kits.rules.planning.records.wants import Lack, Want

ONE_UNIT = demands.units_of_use([1.0])
LEVEL = 0.90
"""Chance alone spreads what happens over this much of what could."""


@dataclass(frozen=True)
class Outing:
    """A kit's trip with a need: its share of participant-days (above 0), how many uses its list
    was enough for, how many were recorded, and whether something for it was needed and not there
    (or ran out)."""

    days: float
    enough_for: int
    uses: float
    short: bool


@dataclass(frozen=True)
class Spread:
    """What was expected on average, what happened, and from where to where chance alone spreads it
    on nine of ten such occasions."""

    expected: float
    low: int
    high: int
    happened: float

    @property
    def by_chance(self) -> bool:
        """Whether chance alone explains what happened."""
        return self.low <= self.happened <= self.high


class LeftOut(StrEnum):
    """Why a want is in no comparison."""

    OWN_WORDS = "own-words"
    NOT_COUNTED = "not-counted"  # nobody counted the kit after the trip
    NOT_ON_LIST = "not-on-list"  # its list carried nothing for it, so no use could be on record
    WITHOUT_RATE = "without-rate"  # nothing was expected of its need
    NO_NEED = "no-need"  # what was carried for it is not said to serve a need


def left_out(
    want: Want, *, counted: bool, rated: Collection[int], unrated: Collection[int]
) -> LeftOut | None:
    """Why a want is not among the shortages that are compared; None where it is. `counted`: its
    trip is known; `rated` and `unrated`: the needs of its item that its kit's list carried
    something for, with and without a rate."""
    if want.lack is Lack.OWN_WORDS:
        return LeftOut.OWN_WORDS
    if not counted:
        return LeftOut.NOT_COUNTED
    if rated:
        return None
    if unrated:
        return LeftOut.WITHOUT_RATE
    return LeftOut.NOT_ON_LIST if want.lack is Lack.NOT_ON_LIST else LeftOut.NO_NEED


@dataclass(frozen=True)
class BackTest:
    """Uses, and outings on which more was wanted than carried, of a season."""

    uses: Spread
    shortages: Spread


def back_test(cells: Iterable[tuple[Rate, Sequence[Outing]]]) -> BackTest:
    """What was expected of cells (a need in an activity), each with its rate as believed before the
    outings, beside what happened."""
    cells = [(rate, outings) for rate, outings in cells if outings]
    used = quantities.together(_uses(rate, outings) for rate, outings in cells)
    short = quantities.together(_shortages(rate, outings) for rate, outings in cells)
    flat = [each for _, outings in cells for each in outings]
    return BackTest(
        uses=_spread(used, sum(each.uses for each in flat)),
        shortages=_spread(short, sum(each.short for each in flat)),
    )


def _uses(rate: Rate, outings: Sequence[Outing]) -> Probabilities:
    return demands.demand(rate, sum(each.days for each in outings), ONE_UNIT)


def _shortages(rate: Rate, outings: Sequence[Outing]) -> Probabilities:
    """Chances of 0, 1, 2 … outings that want more than they carry."""
    lambdas, weights = demands.nodes(rate)
    counts = np.zeros((len(lambdas), len(outings) + 1))
    counts[:, 0] = 1.0
    for each in outings:
        chance = demands.chance_of_more(each.enough_for, lambdas * each.days, rate.dispersion)
        moved = counts * chance[:, None]
        counts -= moved
        counts[:, 1:] += moved[:, :-1]
    found: Probabilities = weights @ counts
    return found


def _spread(chances: Probabilities, happened: float) -> Spread:
    summed = np.cumsum(chances)
    tail = (1 - LEVEL) / 2
    low, high = (int(np.searchsorted(summed, at)) for at in (tail, 1 - tail))
    return Spread(float((chances * np.arange(len(chances))).sum()), low, high, happened)
