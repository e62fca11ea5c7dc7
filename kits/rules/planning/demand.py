"""How many units a kit may be asked for: the distribution of demand over a planned exposure.

Given a rate of λ uses in a participant-day, the uses in an exposure of E are negative binomial with
mean λE and variance φλE, which adds up over trips; the rate itself is Gamma(shape, per days). Both
spreads together are a compound negative binomial, and each use takes one or more units. It is
computed by Panjer's recursion (H. H. Panjer, ASTIN Bulletin 1981;12(1):22-26).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy  # loads what is used of it when it is used: most commands use nothing
from numpy.typing import NDArray

Probabilities = NDArray[np.float64]
"""Probabilities of 0, 1, 2 … units; what is missing to 1 is the chance of more."""

TAIL = 1e-9
"""So much of a distribution may be cut off at its upper end."""
MOST_UNITS = 100_000
"""No distribution is longer: nobody carries so many."""
LEAST_DISPERSION = 1 + 1e-9
"""Below this the number of uses is taken for Poisson."""
SMALLEST = -600.0
"""Logarithm below which a start of a recursion is kept apart as a factor."""

NONE: Probabilities = np.ones(1)
"""No units are wanted, for certain."""


@dataclass(frozen=True)
class Rate:
    """What is believed of a rate: Gamma with `shape` > 0 and `per_days` > 0 participant-days, so
    that its mean is `shape / per_days` uses a day; `dispersion` ≥ 1 is variance over mean of the
    uses, given the rate."""

    shape: float
    per_days: float
    dispersion: float = 1.0

    def __post_init__(self) -> None:
        if not (0 < self.shape < math.inf and 0 < self.per_days < math.inf):
            raise ValueError("A rate needs a shape and days above 0.")
        if not 1 <= self.dispersion < math.inf:
            raise ValueError("A dispersion is 1 or more.")

    @property
    def mean(self) -> float:
        """Uses in a participant-day."""
        return self.shape / self.per_days


def nodes(rate: Rate, count: int = 32) -> tuple[Probabilities, Probabilities]:
    """`count` rates, in uses a day, and how much each weighs, for what depends on the rate to be
    averaged over (Gauss and Laguerre's quadrature, by the eigenvalues of its recurrence, so that
    a shape may be as large as it likes: G. H. Golub and J. H. Welsch, Mathematics of Computation
    1969;23(106):221-230)."""
    k = np.arange(count)
    beside = np.sqrt(k[1:] * (k[1:] + rate.shape - 1))
    values, vectors = scipy.linalg.eigh_tridiagonal(2 * k + rate.shape, beside)
    weights = vectors[0] ** 2
    return np.maximum(values, 0.0) / rate.per_days, weights / weights.sum()


# Written out, since scipy.stats takes a second to load in each process of the program.
def chance_of(uses: int, mean: Probabilities, dispersion: float) -> Probabilities:
    """The chance of just so many uses (0 or more), at each mean (above 0)."""
    if dispersion < LEAST_DISPERSION:
        logarithm = uses * np.log(mean) - mean
    else:
        size = mean / (dispersion - 1)
        logarithm = scipy.special.gammaln(size + uses) - scipy.special.gammaln(size)
        logarithm += uses * math.log1p(-1 / dispersion) - size * math.log(dispersion)
    return np.exp(logarithm - math.lgamma(uses + 1))


def chance_of_more(uses: int, mean: Probabilities, dispersion: float) -> Probabilities:
    """The chance of more uses than that (-1 or more), at each mean (above 0)."""
    if uses < 0:
        return np.ones_like(mean)
    found: Probabilities
    if dispersion < LEAST_DISPERSION:
        found = scipy.special.gammainc(uses + 1, mean)
    else:
        found = scipy.special.betainc(uses + 1, mean / (dispersion - 1), 1 - 1 / dispersion)
    return found


def units_of_use(chances: Sequence[float]) -> Probabilities:
    """How many units a use takes: `chances[i]` is that of i + 1 units.

    Raises ValueError unless they are chances that add up to 1.
    """
    given = np.asarray(chances, dtype=np.float64)
    if given.size == 0 or (given < 0).any() or abs(given.sum() - 1) > 1e-9:
        raise ValueError("The chances of the units that a use takes add up to 1.")
    return np.concatenate(([0.0], given / given.sum()))


def combined(asks: Sequence[tuple[Rate, Probabilities]]) -> tuple[Rate, Probabilities]:
    """Several needs (one or more) of one item as one: their rates added up, by mean and variance,
    and the units of a use as often as each comes up. Of one need it is that need."""
    if len(asks) == 1:
        return asks[0]
    means = [rate.mean for rate, _ in asks]
    mean = sum(means)
    variance = sum(rate.shape / rate.per_days**2 for rate, _ in asks)
    dispersion = sum(m * rate.dispersion for m, (rate, _) in zip(means, asks, strict=True)) / mean
    units = np.zeros(max(len(each) for _, each in asks))
    for m, (_, each) in zip(means, asks, strict=True):
        units[: len(each)] += each * (m / mean)
    return Rate(mean**2 / variance, mean / variance, max(1.0, dispersion)), units


def lumps(dispersion: float, units: Probabilities) -> Probabilities:
    """Units wanted at one occasion: a logarithmic number of uses (Fisher, Corbet and Williams,
    Journal of Animal Ecology 1943;12(1):42-58), each with its units.

    An occasion is what makes uses come together, so that their variance exceeds their mean.
    `units[k]` is the chance that a use takes k units, `units[0]` is 0.
    """
    if dispersion < LEAST_DISPERSION:
        return units
    return _lumps(dispersion, tuple(units.tolist()))


@lru_cache(maxsize=512)
def _lumps(dispersion: float, chances: tuple[float, ...]) -> Probabilities:
    """`lumps` with dispersion: an item has one such, however many kits hold it."""
    units = np.asarray(chances)
    p = 1 - 1 / dispersion
    first = p / math.log(dispersion)  # the chance of one use: -p / ln(1 - p)
    found = [0.0]
    left = 1.0
    while left > TAIL * 1e-3 and len(found) < MOST_UNITS:
        x = len(found)
        top = min(x, len(units) - 1)
        y = np.arange(1, top + 1)
        back = np.asarray(found[x - top :])[::-1]
        here = float((p * (1 - y / x) * units[1 : top + 1] * back).sum())
        if x < len(units):
            here += first * float(units[x])
        found.append(here)
        left -= here
    lengths = np.asarray(found)
    lengths.setflags(write=False)
    return lengths


def occasions_per_use(dispersion: float) -> float:
    """How many occasions there are for each use that is expected: 1 without dispersion."""
    if dispersion < LEAST_DISPERSION:
        return 1.0
    return math.log(dispersion) / (dispersion - 1)


def demand(
    rate: Rate, exposure: float, units: Probabilities, most: int = MOST_UNITS
) -> Probabilities:
    """Chances of 0, 1, 2 … units wanted over `exposure` participant-days (0 or more), up to a tail
    below `TAIL` or to `most` units. `units` as `units_of_use` gives it."""
    theta = exposure * occasions_per_use(rate.dispersion) / rate.per_days
    return negative_binomial(rate.shape, theta, lumps(rate.dispersion, units), most)


def negative_binomial(
    size: float, theta: float, severity: Probabilities, most: int = MOST_UNITS
) -> Probabilities:
    """A negative binomial number (of `size`, mean `size` · `theta`) of lumps of `severity`;
    chances of up to `most` units."""
    if theta <= 0:
        return np.ones(1)
    a = theta / (1 + theta)
    return _panjer(a, (size - 1) * a, -size * math.log1p(theta), severity, most)


def poisson(mean: float, severity: Probabilities, most: int = MOST_UNITS) -> Probabilities:
    """A Poisson number of lumps of `severity`; chances of up to `most` units."""
    if mean <= 0:
        return np.ones(1)
    return _panjer(0.0, mean, -mean, severity, most)


def poissons(means: Probabilities, severity: Probabilities, most: int) -> Probabilities:
    """Poisson numbers of lumps of `severity`, one of each mean (0 or more): row by row the chances
    of 0 to `most` units, a column for each mean. What is missing to 1 is the chance of more."""
    chances = np.zeros((most + 1, len(means)))
    chances[0] = np.exp(-means)
    longest = len(severity) - 1
    # Backwards, as the terms before are multiplied with it.
    weighted = (severity[1:] * np.arange(1, longest + 1))[::-1]
    for x in range(1, most + 1):
        top = min(x, longest)
        chances[x] = means / x * (weighted[longest - top :] @ chances[x - top : x])
    for at in np.flatnonzero(means > -SMALLEST):
        of_one = poisson(float(means[at]), severity, most)
        chances[:, at] = 0.0
        chances[: len(of_one), at] = of_one
    return chances


def _panjer(
    a: float, b: float, log_none: float, severity: Probabilities, longest: int = MOST_UNITS
) -> Probabilities:
    """g(x) = Σ (a + b y / x) f(y) g(x - y), from ln g(0); f(0) is 0.

    A start too small for a number is kept as a factor: terms are divided by it, and by what they
    grow to, until they can be multiplied out.
    """
    scale = min(log_none, SMALLEST) - SMALLEST  # what all terms are still to be multiplied with
    terms = np.zeros(64)
    terms[0] = math.exp(log_none - scale)
    most = len(severity) - 1
    y = np.arange(1, most + 1)
    plain, weighted = a * severity[1:], b * severity[1:] * y
    x, total = 0, terms[0]
    while x < longest:
        if scale < 0 and total > 1e250:
            shift = max(scale, -500.0)
            terms *= math.exp(shift)
            total *= math.exp(shift)
            scale -= shift
        if 1 - math.exp(min(0.0, math.log(total) + scale)) < TAIL:
            break
        x += 1
        if x == len(terms):
            terms = np.concatenate((terms, np.zeros(len(terms))))
        top = min(x, most)
        back = terms[x - top : x][::-1]
        terms[x] = float(((plain[:top] + weighted[:top] / x) * back).sum())
        total += terms[x]
        if x > 4 * most and terms[x] < total * 1e-18 and 0 < terms[x] < terms[x - 1]:
            break  # what is left is the rounding of the sum
    return terms[: x + 1] * math.exp(scale)
