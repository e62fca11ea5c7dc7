"""Rotation: against every way of laying units, and against first expired, first out."""

import itertools
from collections import Counter

import pytest
from hypothesis import given, settings, strategies as st

from kits.rules.planning.demand import Rate
from kits.rules.rotation.first_out import first_out
from kits.rules.rotation.rotation import SWAP_OF_OPENING, rotate
from kits.rules.rotation.spots import DatedBatch, Holding, Spot, Stock, Use

rates = st.builds(
    Rate,
    shape=st.floats(0.5, 8),
    per_days=st.floats(50, 2000),
    dispersion=st.sampled_from([1.0, 1.5, 3.0]),
)
uses = st.none() | st.builds(
    Use,
    rate=rates,
    units=st.sampled_from([(0.0, 1.0), (0.0, 0.6, 0.4)]),
    exposure_a_day=st.sampled_from([0.0, 0.5, 3.0, 10.0]),
)


@st.composite
def stocks(draw: st.DrawFn, most: int = 3, single: bool = False) -> tuple[Stock, frozenset[int]]:
    """One item, up to three kits and the shelves, up to three batches."""
    batches = [
        DatedBatch(n, 1, draw(st.integers(1, 900)), draw(st.sampled_from([0.0, 0.5, 4.0])))
        for n in range(1, draw(st.integers(1, 3)) + 1)
    ]
    price = batches[0].price
    batches = [DatedBatch(b.id, 1, b.days, price) for b in batches] if single else batches
    holds = st.dictionaries(st.sampled_from([b.id for b in batches]), st.integers(1, most))
    if single:
        holds = st.sampled_from([b.id for b in batches]).map(lambda batch: {batch: 1})
    spots = [
        Spot(
            1,
            kit,
            held := draw(holds),
            wants=1 if single else max(sum(held.values()), draw(st.integers(0, 3))),
            lasts=draw(st.sampled_from([0, 28, 200])),
            use=draw(uses),
        )
        for kit in range(draw(st.integers(1, 3)))
    ]
    spots.append(Spot(1, None, draw(holds), use=draw(uses)))
    return Stock.of(batches, spots), frozenset(draw(st.sets(st.sampled_from([0, 1, 2]))))


def total(holding: Holding) -> Counter[int]:
    """Units of each batch wherever they lie."""
    return sum((Counter(holds) for holds in holding), Counter())


@settings(deadline=None)
@given(stocks(), st.sampled_from([0.0, 0.3, 6.0]))
def test_nothing_is_lost_no_kit_has_less_and_none_is_opened_for_nothing(
    made: tuple[Stock, frozenset[int]], opening: float
) -> None:
    stock, opened = made
    found = rotate(stock, opened, opening)

    assert total(found.after) == total(found.plain) == total(stock.now)
    for spot, after, plain in zip(stock.spots, found.after, found.plain, strict=True):
        assert sum(after.values()) == sum(plain.values())
        assert min(after.values(), default=1) > 0
        if spot.kit is not None and spot.kit not in opened | found.opened_for_it:
            assert after == spot.holds
        if spot.kit is not None:
            ending = {b: n for b, n in after.items() if stock.batches[b].days < spot.lasts}
            assert all(n <= plain.get(b, 0) for b, n in ending.items())


@settings(deadline=None)
@given(stocks(), st.sampled_from([0.0, 0.3, 6.0]))
def test_never_worse_than_first_expired_first_out(
    made: tuple[Stock, frozenset[int]], opening: float
) -> None:
    found = rotate(*made, opening)
    assert found.money_saved >= 0
    assert found.plain == first_out(*made)


@settings(deadline=None)
@given(stocks(), st.sampled_from([0.0, 0.3]))
def test_the_same_stock_has_the_same_rotation(
    made: tuple[Stock, frozenset[int]], opening: float
) -> None:
    again = Stock.of([*made[0].batches.values()], made[0].spots)
    first, second = rotate(*made, opening), rotate(again, made[1], opening)
    assert (first.after, first.opened_for_it) == (second.after, second.opened_for_it)


@settings(deadline=None)
@given(stocks(single=True), st.sampled_from([0.0, 0.3, 1.0]))
def test_where_a_line_holds_one_batch_no_other_way_is_better(
    made: tuple[Stock, frozenset[int]], opening: float
) -> None:
    stock, opened = made
    found = rotate(stock, opened, opening)
    cost = cost_of(stock, found.after, found.plain, opened, opening)

    for holding in every_way(stock, found.plain):
        assert cost <= cost_of(stock, holding, found.plain, opened, opening) + 1e-6


def cost_of(
    stock: Stock, holding: Holding, plain: Holding, opened: frozenset[int], opening: float
) -> float:
    """Waste, an opening for each kit that is changed but not opened anyway, and the swaps."""
    cost = stock.waste_of(holding)
    for spot, holds, were in zip(stock.spots, holding, plain, strict=True):
        if spot.kit is not None and holds != were:
            cost += opening * SWAP_OF_OPENING
        if spot.kit is not None and spot.kit not in opened and holds != spot.holds:
            cost += opening
    return cost


def every_way(stock: Stock, plain: Holding) -> list[Holding]:
    """Every way to lay one unit in each spot that may be."""
    units = sorted(total(plain).elements())
    ways = set(itertools.permutations(units))
    return [
        tuple({batch: 1} for batch in order)
        for order in sorted(ways)
        if all(
            spot.kit is None or stock.batches[batch].days >= spot.lasts or batch in plain[at]
            for at, (spot, batch) in enumerate(zip(stock.spots, order, strict=True))
        )
    ]


def test_what_ends_soon_lies_where_it_is_used() -> None:
    """Two kits with one dressing each: the seldom used one holds what ends soon."""
    rate, one = Rate(4.0, 400.0), (0.0, 1.0)
    batches = [DatedBatch(1, 1, 90, 4.0), DatedBatch(2, 1, 900, 4.0)]
    spots = [
        Spot(1, 10, {1: 1}, wants=1, use=Use(rate, one, 0.01)),
        Spot(1, 20, {2: 1}, wants=1, use=Use(rate, one, 6.0)),
        Spot(1, None, {}),
    ]
    stock = Stock.of(batches, spots)

    free = rotate(stock, frozenset({10, 20}), 7.0)
    assert free.after[:2] == ({2: 1}, {1: 1})
    assert 0.9 < free.units_saved < 1
    # For itself alone it does not pay to open both.
    assert rotate(stock, frozenset(), 7.0).after == stock.now
    assert rotate(stock, frozenset(), 0.1).opened_for_it == {10, 20}


def test_nothing_is_swapped_that_saves_nothing() -> None:
    """Both kits hold what lasts: which of the two batches is all the same."""
    batches = [DatedBatch(1, 1, 900, 4.0), DatedBatch(2, 1, 1000, 4.0)]
    spots = [Spot(1, 10, {1: 1}), Spot(1, 20, {2: 1}), Spot(1, None, {1: 3, 2: 3})]
    stock = Stock.of(batches, spots)
    assert rotate(stock, frozenset({10, 20}), 7.0).after == stock.now


def test_a_spot_holds_what_is_known() -> None:
    with pytest.raises(ValueError, match="known batches"):
        Stock.of([], [Spot(1, None, {3: 1})])
    with pytest.raises(ValueError, match="one spot on the shelves"):
        Stock.of([], [Spot(1, 4, {})])
    with pytest.raises(ValueError, match="good today"):
        DatedBatch(1, 1, -1, 1.0)
