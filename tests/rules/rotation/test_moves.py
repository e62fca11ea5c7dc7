"""What a rotation asks of people."""

from collections import Counter

from hypothesis import given, settings

from kits.rules.rotation.moves import Fill, Swap, moves
from kits.rules.rotation.rotation import Rotation, rotate
from kits.rules.rotation.spots import DatedBatch, Spot, Stock
from tests.rules.rotation.test_rotation import stocks


@settings(deadline=None)
@given(stocks())
def test_doing_all_of_it_gives_the_rotation(made: tuple[Stock, frozenset[int]]) -> None:
    found = rotate(*made, 0.0)
    held = {spot.kit: Counter(spot.holds) for spot in found.stock.spots if spot.kit is not None}
    for step in moves(found):
        for fill in step.fills:
            held[step.kit][fill.batch] += fill.units
        for each in step.swaps:
            assert held[step.kit][each.out] >= each.units
            held[step.kit][each.out] -= each.units
            held[step.kit][each.into] += each.units
    after = {
        spot.kit: Counter(holds)
        for spot, holds in zip(found.stock.spots, found.after, strict=True)
        if spot.kit is not None
    }
    assert {kit: +units for kit, units in held.items()} == after


def test_a_kit_that_gives_comes_before_the_one_that_gets() -> None:
    batches = [DatedBatch(1, 1, 90, 1.0), DatedBatch(2, 1, 900, 1.0)]
    spots = (Spot(1, 5, {2: 1}), Spot(1, 6, {1: 1}), Spot(1, None, {2: 1}))
    stock = Stock.of(batches, spots)
    after = ({1: 1}, {2: 1}, {2: 1})
    (first, second) = moves(Rotation(stock, after, stock.now, frozenset(), 0.0))
    assert (first.kit, first.swaps) == (6, (Swap(1, 1, 2, 1),))
    assert (second.kit, second.swaps) == (5, (Swap(1, 2, 1, 1),))


def test_what_a_kit_is_short_of_is_filled() -> None:
    batches = [DatedBatch(1, 1, 90, 1.0)]
    spots = (Spot(1, 5, {}, wants=2), Spot(1, None, {1: 3}))
    stock = Stock.of(batches, spots)
    (step,) = moves(rotate(stock, frozenset({5}), 1.0))
    assert step.fills == (Fill(1, 1, 2),)
    assert not step.swaps
