"""Rates: what nobody recorded leaves what was stated, and intervals hold for schools that are not
drawn from the model."""

import math

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from kits.rules.planning.records import rates
from kits.rules.planning.records.rates import Bounded, Cell, Group, Prior

HILL = {"hill": Cell()}


def test_without_history_the_prior_comes_back() -> None:
    found = rates.rate(Prior(0.002, 1.5), HILL, "hill", Group())
    assert found is not None
    assert found.mean == pytest.approx(0.002)


def test_without_exposure_the_prior_comes_back_in_mean_and_in_how_sure_it_is() -> None:
    nothing = rates.rate(Prior(0.002, 1.5), {}, "hill", Group(2.0, 3.0))
    unexposed = rates.rate(Prior(0.002, 1.5), {"cave": Cell(0, 0.0)}, "hill", Group(2.0, 3.0))
    assert nothing == unexposed
    assert nothing is not None
    assert nothing.mean == pytest.approx(0.002)
    # The variance of the need's mean and that of an activity about it, together.
    spread = 1 / 1.5 + 1 / 2.0 + 1 / (1.5 * 2.0)
    assert 1 / nothing.shape == pytest.approx(spread)


def test_without_a_prior_and_any_use_there_is_no_rate() -> None:
    assert rates.rate(None, {"hill": Cell(0, 500)}, "hill", Group()) is None
    assert rates.rate(None, {}, "hill", Group()) is None


def test_only_its_own_uses_make_a_rate() -> None:
    found = rates.rate(None, {"hill": Cell(4, 1000)}, "hill", Group())
    assert found is not None
    assert (found.shape, found.per_days) == (4.5, 1000)


CELLS = st.dictionaries(
    st.sampled_from(["hill", "cave", "gorge", "canoe"]),
    st.builds(Cell, st.integers(0, 200).map(float), st.floats(1, 1e5)),
    min_size=1,
)


@given(cells=CELLS, prior=st.none() | st.builds(Prior, st.floats(1e-5, 1.0), st.floats(0.1, 2)))
def test_the_rate_of_all_activities_lies_between_theirs(
    cells: dict[str, Cell], prior: Prior | None
) -> None:
    found = rates.pooled(prior, cells, Group(mixed=1.7))
    if found is None:
        assert prior is None
        return
    own = [cell.uses / cell.days for cell in cells.values()]
    vague = 1.7 * rates.VAGUE_SHAPE
    most = [(vague + cell.uses) / cell.days for cell in cells.values()]
    stated = [prior.mean] if prior else []
    assert min(own + stated) * (1 - 1e-9) <= found.mean <= max(most + stated) * (1 + 1e-9)


def test_the_rate_of_all_activities_is_as_sure_as_all_their_records() -> None:
    """An activity that was never seen may have any rate; trips of all those seen may not."""
    cells = {"hill": Cell(50, 500), "cave": Cell(10, 200)}
    never, every = rates.rate(None, cells, "", Group()), rates.pooled(None, cells, Group())
    assert never is not None and every is not None
    assert every.mean == pytest.approx(60.5 / 700)
    (low, high), (lower, higher) = rates.interval(every), rates.interval(never)
    assert high / low < higher / lower / 3


def test_without_history_the_rate_of_all_activities_is_what_was_stated() -> None:
    found = rates.pooled(Prior(0.002, 1.5), {}, Group())
    assert found is not None
    assert found.mean == pytest.approx(0.002)
    assert found.shape == 1.5
    assert rates.pooled(None, HILL, Group()) is None


@given(
    shape=st.floats(0.05, 50),
    days=st.floats(1, 1e5),
    uses=st.integers(0, 500),
    exposure=st.floats(0, 1e5),
    dispersion=st.floats(1, 5),
)
def test_exact_records_are_conjugate(
    shape: float, days: float, uses: int, exposure: float, dispersion: float
) -> None:
    found = rates.posterior(shape, days, Cell(uses, exposure), dispersion)
    assert found.shape == pytest.approx(shape + uses / dispersion, rel=1e-9)
    assert found.per_days == pytest.approx(days + exposure / dispersion, rel=1e-9)


@pytest.mark.parametrize("dispersion", [1.0, 2.5])
def test_bounds_that_say_nothing_change_nothing(dispersion: float) -> None:
    """At least none is no news; the grid gives the Gamma back that it was made of."""
    plain = rates.posterior(2.0, 300.0, Cell(3, 500), dispersion)
    bounded = rates.posterior(2.0, 300.0, Cell(3, 500, [Bounded(40, 0)]), dispersion)
    assert bounded.mean == pytest.approx(plain.mean, rel=2e-3)
    assert bounded.shape == pytest.approx(plain.shape, rel=2e-2)


def test_a_bound_from_both_sides_is_an_exact_use() -> None:
    exact = rates.posterior(2.0, 300.0, Cell(5, 200), 1.0)
    bounded = rates.posterior(2.0, 300.0, Cell(0, 0, [Bounded(200, 5, 5)]), 1.0)
    assert bounded.mean == pytest.approx(exact.mean, rel=2e-3)


def test_at_least_two_is_more_than_two() -> None:
    two = rates.posterior(1.0, 100.0, Cell(2, 50), 1.0)
    more = rates.posterior(1.0, 100.0, Cell(0, 0, [Bounded(50, 2)]), 1.0)
    assert more.mean > two.mean


def test_none_in_693_days_is_below_4_3_a_thousand() -> None:
    assert 1000 * rates.none_seen(693) == pytest.approx(4.32, abs=0.01)


def test_a_group_is_as_usual_before_there_is_enough() -> None:
    cells = {"hill": Cell(3, 100), "cave": Cell(1, 100)}
    assert rates.group_shape([(None, cells)], 1.0) == rates.USUAL_SHAPE


def test_uses_that_come_alone_say_nothing_of_coming_together() -> None:
    assert rates.group_dispersion([[(1, 10.0), (0, 10.0), (0, 10.0)]] * 8) == pytest.approx(
        1, abs=0.35
    )


def test_uses_that_come_together_spread() -> None:
    assert rates.group_dispersion([[(6, 10.0)] + [(0, 10.0)] * 9] * 8) > 3


@pytest.mark.parametrize("wrong", [(0, 1), (0.1, 0), (0.1, 2.5), (math.inf, 1)])
def test_a_prior_is_bounded(wrong: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="prior"):
        Prior(*wrong)


# ---------------------------------------------------------------- schools apart from the model
ACTIVITIES = ("hill", "cave", "gorge", "canoe")


Trips = list[tuple[float, float]]
Drawn = tuple[Prior, dict[str, Cell], dict[str, float]]


def school(rng: np.random.Generator, needs: int = 5) -> tuple[list[Drawn], list[Trips]]:
    """Needs with lognormal rates, trips that spread, a third of the cells known within bounds."""
    drawn: list[Drawn] = []
    trips: list[Trips] = []
    for _ in range(needs):
        mean = math.exp(rng.normal(math.log(3e-3), 1.0))
        stated = Prior(mean * math.exp(rng.normal(0, 0.5)))
        truth = {a: mean * math.exp(rng.normal(-0.18, 0.6)) for a in ACTIVITIES}
        cells = {}
        for activity, rate in truth.items():
            cells[activity], each = _cell(rng, rate, bounded=rng.random() < 1 / 3)
            trips.append(each)
        drawn.append((stated, cells, truth))
    return drawn, trips


def _cell(rng: np.random.Generator, rate: float, *, bounded: bool) -> tuple[Cell, Trips]:
    uses, days = 0, 0.0
    within: list[Bounded] = []
    trips: Trips = []
    for _ in range(rng.poisson(25) + 1):
        exposure = float(rng.integers(4, 15) * rng.integers(1, 6))
        n = int(rng.poisson(rng.gamma(rate * exposure, 1.0)))  # variance twice the mean
        trips.append((float(n), exposure))
        if bounded and n >= 2:
            within.append(Bounded(exposure, 2))
        elif bounded and n and rng.random() < 0.5:
            within.append(Bounded(exposure, n - 1, n + 1))
        else:
            uses, days = uses + n, days + exposure
    return Cell(uses, days, within), trips


def covered(seed: int, schools: int) -> float:
    """The share of true rates that lie within their 90 % interval."""
    rng = np.random.default_rng(seed)
    inside = whole = 0
    for _ in range(schools):
        needs, trips = school(rng)
        dispersion = rates.group_dispersion(trips)
        shape = rates.group_shape([(p, c) for p, c, _ in needs], dispersion)
        for prior, cells, truth in needs:
            for activity, rate in truth.items():
                found = rates.rate(prior, cells, activity, Group(shape, dispersion))
                assert found is not None
                low, high = rates.interval(found)
                inside += low <= rate <= high
                whole += 1
    return inside / whole


def test_nine_in_ten_intervals_hold() -> None:
    assert 0.85 <= covered(3, 60) <= 0.95


@pytest.mark.long
def test_nine_in_ten_intervals_hold_over_a_thousand_schools() -> None:
    assert 0.87 <= covered(4, 1000) <= 0.93


@settings(max_examples=30, deadline=None)
@given(uses=st.integers(0, 20), days=st.floats(1, 5000))
def test_more_uses_in_the_same_days_are_a_higher_rate(uses: int, days: float) -> None:
    fewer = rates.rate(Prior(0.01), {"hill": Cell(uses, days)}, "hill", Group())
    more = rates.rate(Prior(0.01), {"hill": Cell(uses + 1, days)}, "hill", Group())
    assert fewer is not None and more is not None
    assert fewer.mean < more.mean


def test_seven_hundred_days_cannot_tell_of_one_use_in_ten_years() -> None:
    once = rates.one_use_in(10, 71.4)
    assert once * 1000 == pytest.approx(1.4, abs=0.01)
    assert rates.too_few_to_judge(693, once)
    assert not rates.too_few_to_judge(3000, once)
    with pytest.raises(ValueError, match="Years"):
        rates.one_use_in(10, 0)
