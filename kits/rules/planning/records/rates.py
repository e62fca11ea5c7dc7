"""How often a need comes up: from what was stated or published, and from what was recorded.

A cell is one need in one activity. What is believed of its rate before its own records is Gamma
with the mean of the need and a shape of the need's group; its own records make it narrower. Uses
that are only known within bounds enter by their likelihood on a grid of rates.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from kits.rules.planning.demand import Rate, chance_of, chance_of_more

MOST_WEIGHT = 2.0
"""What is stated or published counts for so many uses at most."""
GRID = 400
"""Rates at which uses known within bounds are weighed."""
SHAPES = (0.5, 20.0)
"""Least and greatest shape of a group: how alike the activities of a need are."""
USUAL_SHAPE = 1.0
"""Shape of a group that there is too little known of."""
SHAPE_SPREAD = 0.7
"""How far, in logarithms, a group's shape is believed to lie from the usual one."""
ENOUGH_ACTIVITIES = 3
ENOUGH_USES = 5
DISPERSIONS = (1.0, 5.0)
"""Least and greatest dispersion of a group."""
DISPERSION_WEIGHT = 10.0
"""A group's dispersion is drawn towards 1 as if by so many trips."""
ROUNDS = 3
VAGUE_SHAPE = 0.5
"""Shape of what is believed where nobody stated anything (Jeffreys' prior of a Poisson rate)."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Prior:
    """What the adviser states, or a study found: a mean of uses in a participant-day (above 0),
    that counts for `weight` uses (above 0, at most 2)."""

    mean: float
    weight: float = 1.0

    def __post_init__(self) -> None:
        if not (0 < self.mean < math.inf and 0 < self.weight <= MOST_WEIGHT):
            raise ValueError(
                f"A prior has a mean above 0 and a weight above 0, at most {MOST_WEIGHT:g}."
            )


@dataclass(frozen=True)
class Bounded:
    """Uses of a trip that are known within bounds: `least` or more (all that was carried went), or
    `least` to `most` (a difference at a count), over `days` participant-days."""

    days: float
    least: int
    most: int | None = None
    weight: float = 1.0

    def __post_init__(self) -> None:
        if self.days <= 0 or self.least < 0 or (self.most is not None and self.most < self.least):
            raise ValueError("Bounded uses need days above 0 and bounds in order.")


@dataclass(frozen=True)
class Cell:
    """What was recorded of one need in one activity: exact uses over so many participant-days, and
    trips of which the uses are known within bounds."""

    uses: float = 0
    days: float = 0.0
    bounded: Sequence[Bounded] = ()

    @property
    def exposure(self) -> float:
        """All participant-days."""
        return self.days + sum(each.days for each in self.bounded)

    @property
    def least(self) -> float:
        """So many uses at least."""
        return self.uses + sum(each.least for each in self.bounded)

    @property
    def open_ended(self) -> bool:
        """Whether there may have been more."""
        return any(each.most != each.least for each in self.bounded)


@dataclass(frozen=True)
class Group:
    """What needs of a group share: `shape`, how alike activities are (0.5 to 20), and
    `dispersion`, how far uses come together (1 to 5) on trips of one activity; `mixed` on trips of
    all activities, which differ from each other too."""

    shape: float = USUAL_SHAPE
    dispersion: float = 1.0
    mixed: float = 1.0


def rate(
    prior: Prior | None, cells: Mapping[str, Cell], activity: str, group: Group
) -> Rate | None:
    """What is believed of a need's rate in an activity; None where nothing was stated and no use
    was ever recorded of it. `cells` by activity."""
    if prior is None and not _any_use(cells):
        return None
    mean = _need(prior, {n: c for n, c in cells.items() if n != activity}, group)
    own = cells.get(activity, Cell())
    if mean is None:  # nothing but its own records
        return posterior(VAGUE_SHAPE, 0.0, own, group.dispersion)
    # The activity varies about the need's mean, which is itself not known for certain: this Gamma
    # has the mean and the variance of both together.
    shape = group.shape * mean.shape / (group.shape + mean.shape + 1)
    return posterior(shape, shape / mean.mean, own, group.dispersion)


def pooled(prior: Prior | None, cells: Mapping[str, Cell], group: Group) -> Rate | None:
    """What is believed of a need's rate on trips of all activities, in the mix that is on record;
    None where nothing was stated and no use was ever recorded of it."""
    if prior is None and not _any_use(cells):
        return None
    a, b = _before(prior)
    return posterior(a, b, _together(list(cells.values()), [1.0] * len(cells)), group.mixed)


def _any_use(cells: Mapping[str, Cell]) -> bool:
    return any(cell.least for cell in cells.values())


def _before(prior: Prior | None) -> tuple[float, float]:
    """Shape and days of what is believed before any record."""
    return (VAGUE_SHAPE, 0.0) if prior is None else (prior.weight, prior.weight / prior.mean)


def _need(prior: Prior | None, cells: Mapping[str, Cell], group: Group) -> Rate | None:
    """The need whatever the activity: what was stated, then these activities' records; None where
    there is neither.

    An activity says of the mean only as much as activities are alike: uses with the variance
    dispersion · m + m² / shape, which depends on the mean m, so it is gone through until it stays.
    """
    exposed = [cell for cell in cells.values() if cell.exposure > 0]
    if prior is None and not exposed:
        return None
    a, b = _before(prior)
    found = posterior(a, b, _together(exposed, [1.0] * len(exposed)), group.dispersion)
    for _ in range(ROUNDS):
        weights = [
            1 / (1 + found.mean * cell.exposure / (group.shape * group.dispersion))
            for cell in exposed
        ]
        found = posterior(a, b, _together(exposed, weights), group.dispersion)
    return found


def _together(cells: Sequence[Cell], weights: Sequence[float]) -> Cell:
    return Cell(
        sum(w * c.uses for c, w in zip(cells, weights, strict=True)),
        sum(w * c.days for c, w in zip(cells, weights, strict=True)),
        [
            replace(b, weight=b.weight * w)
            for c, w in zip(cells, weights, strict=True)
            for b in c.bounded
        ],
    )


def posterior(shape: float, per_days: float, cell: Cell, dispersion: float) -> Rate:
    """Gamma(`shape`, `per_days`) after a cell's records.

    Exact uses are conjugate: shape + Σ uses / dispersion, days + Σ days / dispersion. Uses within
    bounds are weighed on a grid of rates, and the mean and variance that come of it give the Gamma.
    """
    a = shape + cell.uses / dispersion
    b = per_days + cell.days / dispersion
    if not cell.bounded:
        return Rate(a, b, dispersion)
    rates, weights = _grid(a, b, cell.bounded, dispersion)
    for each in cell.bounded:
        weights = weights + each.weight * _log_chance(each, rates, dispersion)
    weights = np.exp(weights - weights.max())
    weights /= weights.sum()
    mean = float((weights * rates).sum())
    variance = float((weights * (rates - mean) ** 2).sum())
    return Rate(mean**2 / variance, mean / variance, dispersion)


def _grid(a: float, b: float, bounded: Sequence[Bounded], dispersion: float) -> tuple[Array, Array]:
    """Rates, evenly apart in their logarithm, and the logarithm of what each weighs before."""
    days = sum(each.days for each in bounded)
    most = sum(each.least if each.most is None else each.most for each in bounded)
    # Whatever the bounds say, it lies between these: without any use in them, and with their most
    # and as many again.
    wide = max(b, 1e-12)
    low = float(scipy.special.gammaincinv(a, 1e-7)) / (wide + 4 * days)
    top = a + 2 * most + 1
    high = max(
        float(scipy.special.gammainccinv(a, 1e-9)) / wide if b > 0 else 0.0,
        float(scipy.special.gammainccinv(top, 1e-9)) / (wide + days / dispersion),
    )
    low = max(low, high * 1e-9)
    logs = np.linspace(math.log(low), math.log(high), GRID)
    rates = np.exp(logs)
    return rates, a * logs - b * rates  # Gamma's density times the step, which grows as the rate


def _log_chance(of: Bounded, rates: Array, dispersion: float) -> Array:
    """Logarithm of the chance of what was seen of a trip, at each rate."""
    mean = rates * of.days
    if of.most is None:
        chance = chance_of_more(of.least - 1, mean, dispersion)
    else:
        several = [chance_of(n, mean, dispersion) for n in range(of.least, of.most + 1)]
        chance = np.sum(several, axis=0)
    return np.log(np.maximum(chance, 1e-300))


def group_shape(
    needs: Iterable[tuple[Prior | None, Mapping[str, Cell]]], dispersion: float
) -> float:
    """How alike the activities of a group's needs are, by the likelihood of all that was recorded;
    `USUAL_SHAPE` before there are three activities and five uses.

    A cell's uses are taken with the need's mean over all its activities.
    """
    counts: list[tuple[float, float, float]] = []  # uses, days, mean of the need
    active: set[str] = set()
    for prior, cells in needs:
        mean = _need(prior, cells, Group(dispersion=dispersion))
        if mean is None:
            continue
        for name, cell in cells.items():
            if cell.days > 0:
                counts.append((cell.uses, cell.days, mean.mean))
                active.add(name)
    if len(active) < ENOUGH_ACTIVITIES or sum(n for n, _, _ in counts) < ENOUGH_USES:
        return USUAL_SHAPE
    uses, days, means = (np.asarray(each) for each in zip(*counts, strict=True))

    def unlikely(log_shape: float) -> float:
        shape = math.exp(log_shape)
        # Uses and days over the dispersion: as the conjugate update counts them.
        n, e, b = uses / dispersion, days / dispersion, shape / means
        found = (
            scipy.special.gammaln(shape + n)
            - scipy.special.gammaln(shape)
            + shape * np.log(b / (b + e))
            + n * np.log(e / (b + e))
        )
        return -float(found.sum()) + ((log_shape - math.log(USUAL_SHAPE)) / SHAPE_SPREAD) ** 2 / 2

    return math.exp(_least(unlikely, math.log(SHAPES[0]), math.log(SHAPES[1])))


def _least(of: Callable[[float], float], low: float, high: float) -> float:
    """Where a function with one valley is least between two numbers: by the golden section."""
    inner = (math.sqrt(5) - 1) / 2
    while high - low > 1e-6:
        left, right = high - inner * (high - low), low + inner * (high - low)
        low, high = (low, right) if of(left) < of(right) else (left, high)
    return (low + high) / 2


def group_dispersion(cells: Iterable[Sequence[tuple[float, float]]]) -> float:
    """How far uses come together, from each cell's trips (uses, participant-days).

    Given a cell's n uses, how they fall on its T trips has Pearson's statistic of (T - 1) times
    φ n / (n + φ - 1): a single use says nothing. The φ that gives the sum of all, drawn towards 1.
    """
    statistic = 0.0
    free: list[tuple[float, float]] = []
    for trips in cells:
        uses, days = sum(n for n, _ in trips), sum(e for _, e in trips)
        if uses > 0 and len(trips) > 1:
            means = [uses * e / days for _, e in trips]
            statistic += sum((n - m) ** 2 / m for (n, _), m in zip(trips, means, strict=True))
            free.append((len(trips) - 1, uses))

    def lacking(phi: float) -> float:
        expected = sum(each * phi * n / (n + phi - 1) for each, n in free)
        return expected - statistic + DISPERSION_WEIGHT * (phi - 1)

    least, most = DISPERSIONS
    if lacking(least) >= 0:
        return least
    if lacking(most) <= 0:
        return most
    while most - least > 1e-12:
        middle = (least + most) / 2
        least, most = (middle, most) if lacking(middle) < 0 else (least, middle)
    return least


def interval(of: Rate, level: float = 0.90) -> tuple[float, float]:
    """The middle `level` (0 to 1) of what is believed of a rate, in uses a participant-day."""
    low, high = (1 - level) / 2, (1 + level) / 2
    return (
        float(scipy.special.gammaincinv(of.shape, low)) / of.per_days,
        float(scipy.special.gammaincinv(of.shape, high)) / of.per_days,
    )


def none_seen(days: float, level: float = 0.95) -> float:
    """The rate below which it is with `level` certainty where no use was seen in `days`
    participant-days: 3.0 / days at 95 %."""
    if days <= 0 or not 0 < level < 1:
        raise ValueError("Days are above 0 and the level is between 0 and 1.")
    return -math.log(1 - level) / days


def one_use_in(years: int, yearly_days: float) -> float:
    """The rate at which there would be one use in so many years (1 or more) of `yearly_days`
    participant-days (above 0)."""
    if years < 1 or yearly_days <= 0:
        raise ValueError("Years are 1 or more, and days a year above 0.")
    return 1 / (years * yearly_days)


def too_few_to_judge(days: float, rate: float) -> bool:
    """Whether no use in `days` participant-days (above 0) leaves it open if uses come up at that
    rate."""
    return none_seen(days) > rate
