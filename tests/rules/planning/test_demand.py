"""Demand: what the recursion gives is what counting it out gives, for any rate and any use."""

import math

import numpy as np
import pytest
import scipy
from hypothesis import given, strategies as st

from kits.rules.planning import demand, quantities
from kits.rules.planning.demand import Probabilities, Rate


def counted_out(size: float, theta: float, severity: Probabilities, length: int) -> Probabilities:
    """The same distribution as a sum over how many occasions there are."""
    found, lumps = np.zeros(length), np.zeros(length)
    lumps[0] = 1.0
    n, left = 0, 1.0
    while left > 1e-13 and n < 6000:
        chance = float(scipy.stats.nbinom.pmf(n, size, 1 / (1 + theta)))
        found += chance * lumps
        lumps = np.convolve(lumps, severity)[:length]
        left, n = left - chance, n + 1
    return found


chances_of_units = st.lists(st.floats(0.01, 1), min_size=1, max_size=16).map(
    lambda weights: [w / sum(weights) for w in weights]
)


@given(
    size=st.floats(-2, 2).map(lambda x: 10**x),
    theta=st.floats(-6, 1).map(lambda x: 10**x),
    dispersion=st.sampled_from([1.0, 1 + 1e-12, 1.2, 2.0, 5.0]),
    chances=chances_of_units,
)
def test_the_recursion_gives_what_counting_out_gives(
    size: float, theta: float, dispersion: float, chances: list[float]
) -> None:
    severity = demand.lumps(dispersion, demand.units_of_use(chances))
    found = demand.negative_binomial(size, theta, severity)
    length = min(len(found), 1500)
    expected = counted_out(size, theta, severity, length)
    assert np.abs(found[:length] - expected).max() < 1e-9


@pytest.mark.parametrize("mean", [1e-6, 1e-3, 1.0, 50.0, 1000.0])
@pytest.mark.parametrize("shape", [0.01, 0.5, 3.0, 1e6])
@pytest.mark.parametrize("dispersion", [1.0, 3.0])
def test_the_mean_is_what_is_expected_and_hardly_anything_is_cut_off(
    mean: float, shape: float, dispersion: float
) -> None:
    found = demand.demand(
        Rate(shape, shape / mean, dispersion), 1.0, demand.units_of_use([0.5, 0.25, 0.25])
    )
    if len(found) > demand.MOST_UNITS:
        return  # nobody carries so many
    assert found.sum() == pytest.approx(1, abs=2e-9)
    assert float((found * np.arange(len(found))).sum()) == pytest.approx(
        1.75 * mean, rel=1e-4, abs=1e-7
    )


def test_two_million_draws_agree() -> None:
    rng = np.random.default_rng(11)
    rate, exposure, n = Rate(0.8, 40.0, 2.5), 60.0, 2_000_000
    uses_mean = rng.gamma(rate.shape, 1 / rate.per_days, n) * exposure
    uses = rng.negative_binomial(uses_mean / (rate.dispersion - 1) + 1e-300, 1 / rate.dispersion)
    units = uses + rng.binomial(uses, 0.3)
    drawn = np.bincount(units, minlength=400)[:400] / n
    found = demand.demand(rate, exposure, demand.units_of_use([0.7, 0.3]))[:40]
    error = np.sqrt(np.maximum(found * (1 - found), 1 / n) / n)
    assert (np.abs(drawn[: len(found)] - found) < 5 * error).all()


def test_without_exposure_nothing_is_wanted() -> None:
    found = demand.demand(Rate(1.0, 10.0), 0.0, demand.units_of_use([1.0]))
    assert found.tolist() == [1.0]


@given(shape=st.floats(0.05, 20), days=st.floats(1, 1000), dispersion=st.floats(1, 5))
def test_exposure_adds_up(shape: float, days: float, dispersion: float) -> None:
    """What a trip wants with a known rate and what the next one wants is what both want."""
    units = demand.lumps(dispersion, demand.units_of_use([0.6, 0.4]))
    rate = 0.01 * demand.occasions_per_use(dispersion)
    one, other = demand.poisson(rate * days, units), demand.poisson(rate * shape, units)
    both = demand.poisson(rate * (days + shape), units)
    summed = np.convolve(one, other)[: len(both)]
    assert np.abs(summed - both[: len(summed)]).max() < 1e-8


@pytest.mark.parametrize("wrong", [(0, 1, 1), (1, 0, 1), (1, 1, 0.5), (math.inf, 1, 1)])
def test_a_rate_that_is_none_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"needs|dispersion"):
        Rate(*wrong)


def test_chances_of_units_add_up() -> None:
    with pytest.raises(ValueError, match="add up"):
        demand.units_of_use([0.5, 0.4])


@given(
    shape=st.floats(-2, 2).map(lambda x: 10**x),
    mean=st.floats(-6, 0).map(lambda x: 10**x),
    dispersion=st.floats(1, 5),
    days=st.floats(0, 500),
    more=st.floats(0, 500),
    level=st.sampled_from([0.5, 0.9, 0.95, 0.99]),
)
def test_more_exposure_never_asks_for_fewer(
    shape: float, mean: float, dispersion: float, days: float, more: float, level: float
) -> None:
    rate, units = Rate(shape, shape / mean, dispersion), demand.units_of_use([0.7, 0.3])
    fewer = quantities.enough_for(demand.demand(rate, days, units), level)
    assert quantities.enough_for(demand.demand(rate, days + more, units), level) >= fewer
