"""When to order more: the level at which what is left lasts just until a delivery can come.

The level is the smallest stock that covers the use over the lead time with the wanted probability,
the service level. It is reached by counting what is usable and what is on order.

Use comes in acts of some units each: uses of a thing at a steady rate, each taking what it takes.
That is a compound Poisson demand, whose mean over L days is rate × L × mean size and whose
variance is rate × L × mean square size. Trips bunch use in weeks, so the variance of whole weeks'
use is taken where it is larger. A negative binomial with that mean and variance, or a Poisson
where they are equal, stands in for the distribution, as is usual for parts that are asked for now
and then (E. A. Silver, D. F. Pyke and D. J. Thomas, "Inventory and Production Management in Supply
Chains", 4th ed., on reorder points; A. A. Syntetos and J. E. Boylan, "On the stock control
performance of intermittent demand estimators", International Journal of Production Economics 103,
2006, on the negative binomial).

Until there is enough use to tell, a level set by hand holds, or twice the mean of a week.
"""

import enum
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.grouping import summed

ENOUGH_USES = 8
ENOUGH_DAYS = 90


class Basis(enum.StrEnum):
    """What an order level rests on."""

    BY_HAND = "by-hand"
    USE = "use"
    TWICE_A_WEEK_S_MEAN = "twice-a-week-s-mean"


class Episode(enum.StrEnum):
    """What a stock does to an episode of being low."""

    OPEN = "open"
    CLOSE = "close"
    AS_IT_WAS = "as-it-was"


@dataclass(frozen=True)
class Use:
    """Units of one thing that one act used, on a local date."""

    day: date
    units: int


@dataclass(frozen=True)
class OrderLevel:
    """Order more when usable stock and what is on order come to `units` or fewer. `week_mean` is
    the mean use of a week in units, `uses` how many acts it was derived from. `counted`: what is
    taken is written down; of what nobody counts the book knows only when there is none."""

    units: int
    basis: Basis
    week_mean: float
    uses: int
    counted: bool = True

    @property
    def down_to(self) -> int:
        """The stock by the book that more is ordered at."""
        return self.units if self.counted else 0

    def reached(self, stock: int) -> bool:
        """Return whether `stock` is down to the level. A level of 0 orders nothing."""
        return self.units > 0 and stock <= self.down_to


def order_level(
    uses: Iterable[Use],
    *,
    recorded_from: date,
    today: date,
    lead_days: int,
    service_level: float = 0.95,
    by_hand: int | None = None,
    counted: bool = True,
) -> OrderLevel:
    """Return at how many units to order.

    `recorded_from` is the first day whose use would have been recorded (the day the thing was
    first stocked, or the start of the year looked at); uses before it or after `today` are left
    out. `lead_days` is how many days pass from ordering to having, 0 or more; `service_level` the
    probability, between 0 and 1, that stock lasts so long. `by_hand` is a level that somebody
    set, which holds whatever was used; `counted` as in the level.

    Raises `ValueError` for a lead time, service level or level that cannot be, or when `today` is
    before `recorded_from`.
    """
    days = (today - recorded_from).days + 1
    for wrong, says in (
        (lead_days < 0, f"A lead time of {lead_days} days cannot be: give 0 or more."),
        (
            not 0 < service_level < 1,
            f"A service level of {service_level} cannot be: give one between 0 and 1.",
        ),
        ((by_hand or 0) < 0, f"An order level of {by_hand} cannot be: give 0 or more."),
        (days < 1, "Use has to be recorded from today or before."),
    ):
        if wrong:
            raise ValueError(says)
    known = [use for use in uses if recorded_from <= use.day <= today and use.units > 0]
    week_mean = 7 * sum(use.units for use in known) / days
    if by_hand is not None:
        units, basis = by_hand, Basis.BY_HAND
    elif len(known) < ENOUGH_USES or days < ENOUGH_DAYS:
        units, basis = math.ceil(2 * week_mean), Basis.TWICE_A_WEEK_S_MEAN
    else:
        mean = week_mean * lead_days / 7
        variance = max(
            sum(use.units**2 for use in known) / days, _weekly_variance(known, today, days) / 7
        )
        units, basis = covering(mean, variance * lead_days, service_level), Basis.USE
    return OrderLevel(units, basis, week_mean, len(known), counted)


def _weekly_variance(uses: list[Use], today: date, days: int) -> float:
    """The sample variance of use in the whole weeks that end with `today`."""
    used = summed(((today - use.day).days // 7, use.units) for use in uses)
    weeks = [used[ago] for ago in range(days // 7)]
    mean = sum(weeks) / len(weeks)
    return sum((n - mean) ** 2 for n in weeks) / (len(weeks) - 1)


def covering(mean: float, variance: float, probability: float) -> int:
    """Return the smallest number of units that demand stays within with `probability`: the
    quantile of a negative binomial with that mean (units) and variance (units²), of a Poisson
    where the variance is no larger than the mean.

    The probabilities are summed up from twelve standard deviations below the mean, under which
    there is less than a float can tell; each follows from the one before.
    """
    if mean <= 0:
        return 0
    variance = max(variance, mean)
    units = max(0, math.floor(mean - 12 * math.sqrt(variance)))
    if (excess := variance - mean) <= 1e-6 * mean:
        chance = math.exp(units * math.log(mean) - mean - math.lgamma(units + 1))
        r, q = 0.0, 0.0
    else:
        r, q = mean**2 / excess, excess / variance
        chance = math.exp(
            math.lgamma(units + r)
            - math.lgamma(r)
            - math.lgamma(units + 1)
            + r * math.log1p(-q)
            + units * math.log(q)
        )
    within = chance
    while within < probability and units < mean + 60 * math.sqrt(variance) + 60:
        chance *= (mean if q == 0 else (units + r) * q) / (units + 1)
        units += 1
        within += chance
    return units


def episode(is_open: bool, stock: int, level: int, margin: int | None = None) -> Episode:
    """Return what `stock` (usable units and units on order) does to an episode of being low.

    One opens when stock is down to the level, and closes only when it is above the level by more
    than `margin` units, so that a unit back and forth does not tell anyone twice. Without a
    margin it is a fifth of the level, at least 1.
    """
    if margin is None:
        margin = max(1, level // 5)
    if not is_open and stock <= level:
        return Episode.OPEN
    if is_open and stock > level + margin:
        return Episode.CLOSE
    return Episode.AS_IT_WAS
