"""When to order more."""

import random
from datetime import date, timedelta
from typing import Any

import pytest
import scipy  # loads what is used of it when it is used: every process collects all tests
from hypothesis import given, strategies as st

from kits.rules.buying.order_levels import (
    Basis,
    Episode,
    Look,
    OrderLevel,
    Setting,
    Use,
    enough_units,
    episode,
    order_level,
    refills,
    use_over,
)
from kits.rules.ledger.facts import Level

TODAY = date(2026, 11, 25)
YEAR = timedelta(days=364)
DAY = timedelta(days=1)


def every(days: int, units: int = 1, length: int = 364) -> list[Use]:
    return [Use(TODAY - n * DAY, units) for n in range(0, length, days)]


def of(uses: list[Use], days: int = 364, **setting: Any) -> OrderLevel:
    return order_level(
        uses,
        recorded_from=TODAY - (days - 1) * DAY,
        today=TODAY,
        setting=Setting(**{"lead_days": 14, **setting}),
    )


def enough(uses: list[Use], days: int = 364, **setting: Any) -> int:
    whole = [(use, 1.0) for use in uses]
    return enough_units(whole, days, TODAY, Setting(**{"lead_days": 14, **setting}))


def test_steady_single_uses_are_a_negative_binomial_s() -> None:
    """Of 52 uses in 364 days the rate is Gamma(52, 364), so that 14 days want on average 2."""
    found = of(every(7))
    expected = scipy.stats.nbinom.ppf(0.95, 52, 364 / (364 + 14))
    assert (found.units, found.basis, found.uses) == (expected, Basis.USE, 52)
    assert found.week_mean == pytest.approx(1)


def test_uses_of_many_units_at_once_need_more_in_stock_than_as_many_single_ones() -> None:
    single, bulk = of(every(2, 1)), of(every(20, 10))
    assert single.week_mean == pytest.approx(bulk.week_mean, rel=0.1)
    assert bulk.units > single.units * 1.5


def test_use_bunched_in_weeks_needs_more_in_stock() -> None:
    bunched = [Use(TODAY - n * DAY, 1) for n in range(0, 364, 28) for _ in range(14)]
    assert of(bunched, lead_days=7).units > of(every(2), lead_days=7).units


@pytest.mark.parametrize(
    ("count", "days", "basis"),
    [
        (8, 90, Basis.USE),
        (7, 90, Basis.LITTLE_USE),
        (8, 89, Basis.LITTLE_USE),
        (0, 900, Basis.NO_USE),
    ],
)
def test_it_says_where_it_rests_on_little(count: int, days: int, basis: Basis) -> None:
    found = of(every(3, 2, 3 * count), days)
    assert (found.basis, found.uses) == (basis, count)


def test_the_first_use_of_a_new_item_is_not_taken_for_one_every_few_days() -> None:
    assert of([Use(TODAY, 1)], days=3).units == of([Use(TODAY, 1)], days=90).units == 1


def test_a_level_set_by_hand_holds() -> None:
    found = of(every(1), by_hand=3)
    assert (found.units, found.basis) == (3, Basis.BY_HAND)


def test_use_outside_the_time_looked_at_is_left_out() -> None:
    uses = [Use(TODAY + DAY, 50), Use(TODAY - 100 * DAY, 50), Use(TODAY, 1)]
    found = of(uses, days=70)
    assert found.uses == 1
    assert found.week_mean == pytest.approx(7 / 90)


@pytest.mark.parametrize(
    "wrong",
    [
        {"lead_days": -1},
        {"service_level": 0.0},
        {"service_level": 1.0},
        {"service_level": float("nan")},
        {"by_hand": -1},
        {"box": 0},
        {"days": 0},
    ],
)
def test_what_cannot_be_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"give|recorded"):
        of(every(7), **wrong)


ACTS = st.lists(
    st.builds(Use, st.integers(0, 363).map(lambda n: TODAY - n * DAY), st.integers(1, 40))
)


@given(ACTS, st.integers(0, 60), st.floats(0.5, 0.98))
def test_more_certainty_or_a_longer_wait_never_needs_less(
    uses: list[Use], lead_days: int, certainty: float
) -> None:
    base = of(uses, lead_days=lead_days, service_level=certainty).units
    assert of(uses, lead_days=lead_days, service_level=certainty + 0.01).units >= base
    assert of(uses, lead_days=lead_days + 5, service_level=certainty).units >= base


@given(ACTS, st.integers(0, 60), st.sampled_from([2, 16]))
def test_what_goes_in_packs_is_needed_in_whole_packs(
    uses: list[Use], lead_days: int, pack: int
) -> None:
    if uses:
        single = enough(uses, lead_days=lead_days)
        packs = [Use(use.day, use.units * pack) for use in uses]
        assert enough(packs, lead_days=lead_days) == pack * single


@pytest.mark.parametrize(("certainty", "strips"), [(0.90, 0), (0.98, 1), (0.995, 1)])
def test_strips_of_sixteen_are_wanted_whole(certainty: float, strips: int) -> None:
    """One in 140 days and a delivery in 14: matched by mean and variance it would be 2, 12 and 26
    tablets."""
    known = [Use(TODAY - n * DAY, 16) for n in range(0, 14_000, 140)]
    assert enough(known, days=14_000, service_level=certainty) == 16 * strips
    found = of(known, days=14_000, service_level=certainty)
    assert (found.units, found.basis) == (max(1, 16 * strips), Basis.USE)


@given(ACTS)
def test_nothing_is_ordered_without_need(uses: list[Use]) -> None:
    for by_hand in (None, 30):
        found = of(uses, by_hand=by_hand, needed=False)
        assert (found.units, found.basis) == (0, Basis.NO_NEED)
        assert not found.reached(0)
    never = of([])
    assert (never.units, never.basis, never.reached(0)) == (0, Basis.NO_USE, False)


# ------------------------------------------------------------------------------------ loose items
LEVELS = st.lists(st.tuples(st.integers(0, 40), st.sampled_from(Level)), max_size=30)


@given(LEVELS, st.integers(1, 50))
def test_what_fills_a_section_up_was_used_since_it_was_last_seen_full(
    steps: list[tuple[int, Level]], carry: int
) -> None:
    looks, day = [], TODAY - YEAR
    for ahead, what in steps:
        day += ahead * DAY
        looks.append(Look(day, what))
    found = refills(looks, carry)
    full = [look.day for look in looks if look.level is Level.FULL]
    assert len(found) <= max(0, len(full) - 1)
    for use in found:
        assert use.units in (carry, (carry + 1) // 2)
        assert use.day in full
        assert use.since in full
    spans = [(use.since, use.day) for use in found]
    assert spans == sorted(spans)  # none counts for the same time as another


def test_a_first_filling_is_no_use_and_an_empty_section_takes_all() -> None:
    seen = [Level.EMPTY, Level.FULL, Level.LOW, Level.EMPTY, Level.FULL, Level.LOW, Level.FULL]
    looks = [Look(TODAY + n * DAY, each) for n, each in enumerate(seen)]
    assert refills(looks, 9) == [
        Use(TODAY + 4 * DAY, 9, since=TODAY + DAY),
        Use(TODAY + 6 * DAY, 5, since=TODAY + 4 * DAY),
    ]


def test_of_a_use_between_two_looks_only_the_share_in_the_time_looked_at_counts() -> None:
    first = TODAY - YEAR + DAY
    use = Use(first + 10 * DAY, 8, since=first - 30 * DAY)
    assert use.within(first, TODAY) == pytest.approx(0.25)
    found = of([use])
    assert found.week_mean == pytest.approx(7 * 2 / 364)


@given(ACTS, st.integers(1, 30))
def test_loose_items_are_ordered_by_the_box(uses: list[Use], box: int) -> None:
    found = of(uses, counted=False, box=box)
    assert found.units % box == 0
    assert found.units - of(uses).units in range(box)
    assert found.down_to == 0


def test_stock_lasts_through_the_lead_time_as_often_as_asked() -> None:
    """Two years to learn from and many lead times to try, of trips that use 1 to 4 at a go."""
    chance = random.Random(7)

    def days_of_use(days: int) -> list[int]:
        return [chance.choice([1, 1, 2, 4]) if chance.random() < 0.2 else 0 for _ in range(days)]

    learnt = [Use(TODAY - n * DAY, units) for n, units in enumerate(days_of_use(730)) if units]
    found = of(learnt, days=730, lead_days=21)
    lasted = sum(sum(days_of_use(21)) <= found.units for _ in range(4000)) / 4000
    assert 0.91 <= lasted <= 0.985


def test_an_episode_opens_at_the_level_and_closes_above_it_by_the_margin() -> None:
    assert episode(False, 11, 10) is Episode.AS_IT_WAS
    assert episode(False, 10, 10) is Episode.OPEN
    assert episode(True, 12, 10) is Episode.AS_IT_WAS
    assert episode(True, 13, 10) is Episode.CLOSE
    assert episode(True, 11, 10, margin=0) is Episode.CLOSE
    assert episode(False, 0, 0) is Episode.OPEN


@given(ACTS, st.integers(0, 400))
def test_use_over_days_is_a_distribution_that_goes_on_as_before(uses: list[Use], days: int) -> None:
    chances = use_over(uses, recorded_from=TODAY - YEAR + DAY, today=TODAY, days=days)
    assert sum(chances) == pytest.approx(1)
    mean = sum(n * chance for n, chance in enumerate(chances))
    assert mean == pytest.approx(sum(use.units for use in uses) * days / 364, rel=0.02, abs=1e-6)


def test_it_copes_with_very_much_use() -> None:
    assert of(every(1, 100_000)).units > 1_400_000


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
