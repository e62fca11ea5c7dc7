"""When to order more."""

import random
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, strategies as st
from scipy.stats import nbinom, poisson

from kits.rules.stock.ordering import Basis, Episode, Use, covering, episode, order_level

TODAY = date(2026, 11, 25)
YEAR = timedelta(days=364)
DAY = timedelta(days=1)
LAST_YEAR: dict[str, Any] = {"recorded_from": TODAY - YEAR + DAY, "today": TODAY}


def every(days: int, units: int = 1, length: int = 364) -> list[Use]:
    return [Use(TODAY - n * DAY, units) for n in range(0, length, days)]


def test_steady_single_uses_are_a_poisson_s() -> None:
    found = order_level(every(7), lead_days=14, service_level=0.95, **LAST_YEAR)
    assert (found.units, found.basis, found.uses) == (poisson.ppf(0.95, 2), Basis.USE, 52)
    assert found.week_mean == pytest.approx(1)


def test_uses_of_many_units_at_once_need_more_in_stock_than_as_many_single_ones() -> None:
    single = order_level(every(2, 1), lead_days=14, **LAST_YEAR)
    bulk = order_level(every(20, 10), lead_days=14, **LAST_YEAR)
    assert single.week_mean == pytest.approx(bulk.week_mean, rel=0.1)
    assert bulk.units > single.units * 1.5


def test_use_bunched_in_weeks_needs_more_in_stock() -> None:
    spread = order_level(every(2), lead_days=7, **LAST_YEAR)
    bunched = [Use(TODAY - n * DAY, 1) for n in range(0, 364, 28) for _ in range(14)]
    assert order_level(bunched, lead_days=7, **LAST_YEAR).units > spread.units


@pytest.mark.parametrize(
    ("count", "days", "basis"),
    [
        (8, 90, Basis.USE),
        (7, 90, Basis.TWICE_A_WEEK_S_MEAN),
        (8, 89, Basis.TWICE_A_WEEK_S_MEAN),
        (0, 900, Basis.TWICE_A_WEEK_S_MEAN),
    ],
)
def test_it_waits_for_eight_uses_over_ninety_days(count: int, days: int, basis: Basis) -> None:
    found = order_level(
        every(3, 2, 3 * count),
        recorded_from=TODAY - (days - 1) * DAY,
        today=TODAY,
        lead_days=7,
    )
    assert (found.basis, found.uses) == (basis, count)
    if basis is Basis.TWICE_A_WEEK_S_MEAN:
        assert found.units == -(-2 * 7 * 2 * count // days)


def test_a_level_set_by_hand_holds() -> None:
    found = order_level(every(1), recorded_from=TODAY - YEAR, today=TODAY, lead_days=14, by_hand=3)
    assert (found.units, found.basis) == (3, Basis.BY_HAND)


def test_use_outside_the_time_looked_at_is_left_out() -> None:
    uses = [Use(TODAY + DAY, 50), Use(TODAY - 100 * DAY, 50), Use(TODAY, 1)]
    found = order_level(uses, recorded_from=TODAY - 69 * DAY, today=TODAY, lead_days=7)
    assert found.uses == 1
    assert found.week_mean == pytest.approx(0.1)


@pytest.mark.parametrize(
    "wrong",
    [
        {"lead_days": -1},
        {"service_level": 0.0},
        {"service_level": 1.0},
        {"service_level": float("nan")},
        {"by_hand": -1},
        {"recorded_from": TODAY + DAY},
    ],
)
def test_what_cannot_be_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"give|recorded"):
        order_level(every(7), **LAST_YEAR | {"lead_days": 14} | wrong)


means = st.floats(0.01, 2000)


@given(means, st.floats(1.01, 30), st.floats(0.5, 0.999))
def test_it_is_the_negative_binomial_s_quantile(
    mean: float, spread: float, probability: float
) -> None:
    r, p = mean / (spread - 1), 1 / spread
    found = covering(mean, mean * spread, probability)
    assert nbinom.cdf(found, r, p) >= probability - 1e-8
    assert found == 0 or nbinom.cdf(found - 1, r, p) < probability + 1e-8


@given(means, st.floats(0.5, 0.999))
def test_it_is_the_poisson_s_quantile_where_nothing_is_bunched(
    mean: float, probability: float
) -> None:
    found = covering(mean, mean, probability)
    assert poisson.cdf(found, mean) >= probability - 1e-8
    assert found == 0 or poisson.cdf(found - 1, mean) < probability + 1e-8


@given(means, st.floats(1, 30), st.floats(0.5, 0.98))
def test_more_certainty_or_more_use_never_needs_less(
    mean: float, spread: float, probability: float
) -> None:
    base = covering(mean, mean * spread, probability)
    assert covering(mean, mean * spread, probability + 0.01) >= base
    assert covering(mean * 1.5, mean * 1.5 * spread, probability) >= base


def test_stock_lasts_through_the_lead_time_as_often_as_asked() -> None:
    """Two years to learn from and many lead times to try, of trips that use 1 to 4 at a go."""
    chance = random.Random(7)

    def days_of_use(days: int) -> list[int]:
        return [chance.choice([1, 1, 2, 4]) if chance.random() < 0.2 else 0 for _ in range(days)]

    learnt = [Use(TODAY - n * DAY, units) for n, units in enumerate(days_of_use(730)) if units]
    found = order_level(
        learnt, recorded_from=TODAY - 729 * DAY, today=TODAY, lead_days=21, service_level=0.95
    )
    lasted = sum(sum(days_of_use(21)) <= found.units for _ in range(4000)) / 4000
    assert 0.91 <= lasted <= 0.985


def test_an_episode_opens_at_the_level_and_closes_above_it_by_the_margin() -> None:
    assert episode(False, 11, 10) is Episode.AS_IT_WAS
    assert episode(False, 10, 10) is Episode.OPEN
    assert episode(True, 12, 10) is Episode.AS_IT_WAS
    assert episode(True, 13, 10) is Episode.CLOSE
    assert episode(True, 11, 10, margin=0) is Episode.CLOSE
    assert episode(False, 0, 0) is Episode.OPEN


@pytest.mark.parametrize(("mean", "variance"), [(1e6, 1e6), (1e6, 3e7), (1e-9, 1e-9), (5, 1)])
def test_it_copes_with_very_large_and_very_small_use(mean: float, variance: float) -> None:
    found = covering(mean, variance, 0.95)
    assert abs(found - mean - 1.645 * max(variance, mean) ** 0.5) < 0.01 * mean + 2


@given(st.lists(st.sampled_from([-1, 1])), st.integers(0, 30))
def test_a_unit_back_and_forth_tells_nobody_twice(steps: list[int], at: int) -> None:
    is_open, opened, stock, lowest = False, 0, at + 1, at + 1
    for step in steps:
        stock += step
        lowest = min(lowest, stock)
        said = episode(is_open, stock, at)
        if said is Episode.OPEN:
            opened += 1
        is_open = said is Episode.OPEN or (is_open and said is not Episode.CLOSE)
        assert is_open or stock > at
    assert opened <= 1 + steps.count(1) // 2
    assert (opened > 0) == (lowest <= at)
