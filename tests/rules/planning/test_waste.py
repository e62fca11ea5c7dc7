"""What goes out of date unused: against a hand calculation, and against a million draws."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, strategies as st

from kits.rules.planning import demand, waste
from kits.rules.planning.demand import Rate
from kits.rules.planning.waste import Batch, Wants

ONE = demand.units_of_use([1.0])


def test_two_batches_by_hand() -> None:
    spans = [demand.poisson(2.0, ONE)[:, None], demand.poisson(1.5, ONE)[:, None]]
    first, second = waste.wasted([Batch(3, 1), Batch(4, 2)], spans, np.ones(1))
    assert first.mean == pytest.approx(1.218, abs=5e-4)
    assert second.mean == pytest.approx(2.337, abs=1e-3)


def test_a_million_draws_agree() -> None:
    rng, n = np.random.default_rng(5), 1_000_000
    rate, batches = Rate(0.7, 300.0, 2.0), [Batch(4, 200), Batch(6, 500), Batch(2, 900)]
    found = waste.expires_unused(Wants(rate, demand.units_of_use([0.5, 0.5])), batches)
    per_day = rng.gamma(rate.shape, 1 / rate.per_days, n)
    over = np.zeros(n, dtype=int)
    at = 0.0
    for j, (batch, expected) in enumerate(zip(batches, found, strict=True)):
        mean = per_day * (batch.exposure - at)
        uses = rng.negative_binomial(mean / (rate.dispersion - 1) + 1e-300, 1 / rate.dispersion)
        wanted = over + uses + rng.binomial(uses, 0.5)
        left = np.maximum(batch.units - wanted, 0)
        assert abs(left.mean() - expected.mean) < 4 * left.std() / n**0.5
        later = sum(each.units for each in batches[j + 1 :])
        over = np.minimum(np.maximum(wanted - batch.units, 0), later)
        at = batch.exposure


@given(
    shape=st.floats(0.1, 5),
    mean=st.floats(0.0005, 0.05),
    units=st.integers(0, 8),
    days=st.floats(1, 500),
    longer=st.floats(0, 500),
)
def test_a_longer_life_never_wastes_more(
    shape: float, mean: float, units: int, days: float, longer: float
) -> None:
    rate = Rate(shape, shape / mean, 1.5)
    (short,) = waste.expires_unused(Wants(rate, ONE), [Batch(units, days)])
    (long,) = waste.expires_unused(Wants(rate, ONE), [Batch(units, days + longer)])
    assert long.mean <= short.mean + 1e-9


def test_what_has_no_day_left_is_wasted_whole() -> None:
    (found,) = waste.expires_unused(Wants(Rate(1.0, 100.0), ONE), [Batch(5, 0)])
    assert found.mean == pytest.approx(5)
    assert found.any == pytest.approx(1)


def test_with_one_day_left_only_that_day_counts() -> None:
    rate, day = Rate(0.8, 200.0, 1.7), 12.0
    (found,) = waste.expires_unused(Wants(rate, ONE), [Batch(3, day)])
    wants = demand.demand(rate, day, ONE)
    assert found.mean == pytest.approx(waste.left_of_fresh_fill(wants, 3), abs=1e-8)
    assert found.chances[3] == pytest.approx(float(wants[0]), abs=1e-8)


def test_batches_come_in_order_of_expiry() -> None:
    with pytest.raises(ValueError, match="order"):
        waste.expires_unused(Wants(Rate(1.0, 100.0), ONE), [Batch(1, 5), Batch(1, 2)])


def test_money_by_hand() -> None:
    """Never wanted: four of 2.50 thrown away every two years is 5.00 a year."""
    cost = waste.cost_per_year(Decimal("2.50"), 4, np.ones(1), 730)
    assert cost.waste == cost.carrying == Decimal("5.00")


def test_what_does_not_expire_is_never_thrown_away() -> None:
    cost = waste.cost_per_year(Decimal("2.50"), 4, demand.poisson(1.0, ONE), None)
    assert cost.waste == 0
    assert Decimal("2.4") < cost.carrying <= Decimal("2.50")


def test_what_comes_back_costs_what_expires_or_gets_lost_and_no_use() -> None:
    price = Decimal("79.00")
    assert waste.cost_of_keeping(price, 1, None, 0).carrying == 0
    assert waste.cost_of_keeping(price, 2, None, 0.5).carrying == Decimal("39.50")
    dated = waste.cost_of_keeping(Decimal("2.50"), 4, 730, 0)
    assert (dated.carrying, dated.waste) == (Decimal("5.00"), Decimal(0))
    with pytest.raises(ValueError, match="losses"):
        waste.cost_of_keeping(price, 1, None, -1)


MONEY = st.decimals(0, 1000, places=2)
COSTS = st.lists(
    st.tuples(st.sampled_from(["GBP", "EUR"]), st.builds(waste.YearlyCost, MONEY, MONEY))
)


@given(COSTS)
def test_the_whole_is_the_sum_of_its_lines(lines: list[tuple[str, waste.YearlyCost]]) -> None:
    sums = waste.whole(lines)
    assert sums.keys() == {currency for currency, _ in lines}
    assert sum(each.carrying for each in sums.values()) == sum(c.carrying for _, c in lines)
    assert sum(each.waste for each in sums.values()) == sum(c.waste for _, c in lines)


@given(
    means=st.lists(st.floats(0, 900), min_size=1, max_size=4),
    dispersion=st.floats(1, 5),
    most=st.integers(0, 30),
)
def test_several_rates_at_once_are_each_one_alone(
    means: list[float], dispersion: float, most: int
) -> None:
    severity = demand.lumps(dispersion, demand.units_of_use([0.7, 0.3]))
    together = demand.poissons(np.asarray(means), severity, most)
    for mean, chances in zip(means, together.T, strict=True):
        alone = np.zeros(most + 1)
        of_one = demand.poisson(mean, severity, most)
        alone[: len(of_one)] = of_one
        assert chances == pytest.approx(alone, abs=1e-8)
