"""The bench of a season: a school that loses nothing, on the same needs whoever orders."""

import copy
from datetime import date, timedelta
from functools import partial

import pytest

from kits.services.stock.order_levels import stock_levels
from tests.bench import season
from tests.bench.seasons import buyers
from tests.bench.seasons.school import KITS, Buyer, Stock, invent, needs, opened, play

BY_PLAN = partial(buyers.by_plan, ahead=63)
WAYS: list[Buyer] = [buyers.by_hand, buyers.by_use, BY_PLAN]


def units(stock: Stock) -> int:
    """All that lies in kits and on shelves."""
    return sum(held.total() for held in [*stock.kits.values(), *stock.shelf.values()])


@pytest.mark.parametrize("buyer", WAYS)
@pytest.mark.parametrize("seed", [1, 2])
def test_what_was_there_and_came_was_used_or_thrown_away_or_is_there(
    seed: int, buyer: Buyer
) -> None:
    school = invent(seed, wares=8)
    stock = opened(school)
    before = units(stock)
    tally = play(stock, needs(school, 400), buyer)
    came = sum(each.units for each, _ in stock.arrived)
    used = sum(count for _, _, count in stock.used)
    assert came > 0
    assert used > 0
    assert before + came == used + tally.wasted + units(stock)


@pytest.mark.parametrize("buyer", WAYS)
def test_what_was_needed_was_used_or_is_counted_as_not_there(buyer: Buyer) -> None:
    school = invent(3, wares=8)
    wanted = needs(school, 300)
    stock = opened(school)
    tally = play(stock, wanted, buyer)
    used = sum(count for _, _, count in stock.used)
    assert used + tally.unmet.total() == sum(need.units for day in wanted for need in day)


def test_no_kit_ever_carries_more_than_its_list_says_nor_what_is_out_of_date() -> None:
    school = invent(4, wares=8)
    stock = opened(school)
    for day in needs(school, 200):
        play(stock, [day], BY_PLAN)
        for ware in school.wares:
            for kit in range(KITS):
                held = stock.kits[kit, ware.number]
                assert held.total() <= ware.carry
                assert all(last >= stock.day - 1 for last in held)


def test_who_orders_changes_no_needs_and_the_same_seed_is_the_same_season() -> None:
    school = invent(5, wares=8)
    assert needs(school, 100) == needs(school, 100)
    ends = []
    for _ in range(2):
        stock = opened(school)
        play(stock, needs(school, 100), BY_PLAN)
        ends.append((stock.tally, copy.deepcopy(stock.shelf)))
    assert ends[0] == ends[1]


def test_the_small_form_compares_every_measure_and_names_what_is_not_better() -> None:
    found = [season.seasons(seed, years=1, ahead=63) for seed in (0, 1)]
    lines, _ = season.report(found)
    assert len(lines) == len(season.LEVELS) * (1 + len(season.MEASURES))
    words = ("better", "not shown to be better", "WORSE", "the same")
    assert all(line.endswith(words) for line in lines if line.startswith("  "))


@pytest.mark.parametrize(
    ("pairs", "verdict"),
    [
        ([(1, 5), (2, 7), (1, 6)], "better"),
        ([(5, 1), (7, 2), (6, 1)], "WORSE"),
        ([(5, 1), (1, 5), (3, 3)], "not shown to be better"),
        ([(3, 3), (3, 3)], "the same"),
    ],
)
def test_a_difference_is_called_better_or_worse_only_where_its_interval_says_so(
    pairs: list[tuple[float, float]], verdict: str
) -> None:
    assert season.difference(pairs).verdict == verdict


def test_a_plan_that_needs_more_is_reported_as_worse() -> None:
    worse = {**dict.fromkeys(season.LEVELS, [1.0] * len(season.MEASURES))}
    found = [{**worse, season.PLAN: [5.0 + n] * len(season.MEASURES)} for n in range(3)]
    assert season.report(found)[1]


def test_the_bench_looks_back_as_far_as_the_program() -> None:
    assert buyers.LOOKS_BACK_DAYS == stock_levels.LOOKS_BACK_DAYS


def test_a_season_ends_four_weeks_off_or_more() -> None:
    for days in range(0, 400, 7):
        today = date(2030, 4, 1) + timedelta(days=days)
        assert 28 <= (buyers.season_end(today) - today).days <= 245
