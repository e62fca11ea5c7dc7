"""What was expected of a season beside what happened."""

import numpy as np
import pytest

from kits.rules.planning.back_test import BackTest, Outing, back_test
from kits.rules.planning.demand import Rate, nodes


def outings(count: int, *, days: float = 10, enough_for: int = 1, uses: float = 0) -> list[Outing]:
    return [Outing(days, enough_for, uses, uses > enough_for) for _ in range(count)]


def test_uses_are_expected_over_all_days_and_shortages_trip_by_trip() -> None:
    """A rate known for certain: Poisson(1) a trip wants more than one with 1 - 2/e."""
    done = back_test([(Rate(1e6, 1e7), outings(20, uses=2))])
    assert done.uses.expected == pytest.approx(20, rel=1e-3)
    assert done.shortages.expected == pytest.approx(20 * (1 - 2 / np.e), rel=1e-3)
    assert (done.uses.happened, done.shortages.happened) == (40, 20)
    assert not done.uses.by_chance
    assert not done.shortages.by_chance


def test_chance_alone_spreads_it_as_draws_do() -> None:
    """What is not known of the rate is common to all trips, so it spreads them further."""
    rate, n = Rate(2.0, 20.0, 1.8), 200_000
    done = back_test([(rate, outings(12))])
    rng = np.random.default_rng(3)
    mean = rng.gamma(rate.shape, 1 / rate.per_days, n)[:, None] * np.full(12, 10.0)
    uses = rng.negative_binomial(mean / 0.8 + 1e-300, 1 / 1.8)
    for spread, drawn in ((done.uses, uses.sum(1)), (done.shortages, (uses > 1).sum(1))):
        assert spread.expected == pytest.approx(drawn.mean(), rel=0.01)
        low, high = np.quantile(drawn, [0.05, 0.95])
        assert abs(spread.low - low) <= 1
        assert abs(spread.high - high) <= 1


def test_cells_add_up() -> None:
    one: BackTest = back_test([(Rate(2, 40), outings(5, uses=1))])
    two = back_test([(Rate(2, 40), outings(5, uses=1)), (Rate(2, 40), outings(5, uses=1))])
    assert two.uses.expected == pytest.approx(2 * one.uses.expected)
    assert two.shortages.expected == pytest.approx(2 * one.shortages.expected)
    assert two.uses.happened == 2 * one.uses.happened


def test_without_an_outing_nothing_was_expected() -> None:
    done = back_test([(Rate(1, 10), [])])
    assert (done.uses.expected, done.uses.low, done.uses.high, done.uses.happened) == (0, 0, 0, 0)
    assert done.uses.by_chance


@pytest.mark.parametrize("shape", [0.01, 0.5, 30.0, 400.0, 50_000.0])
def test_rates_to_average_over_have_the_mean_and_variance_of_what_is_believed(shape: float) -> None:
    rates, weights = nodes(Rate(shape, 100.0))
    mean = float(rates @ weights)
    assert mean == pytest.approx(shape / 100)
    assert float((rates - mean) ** 2 @ weights) == pytest.approx(shape / 100**2)
