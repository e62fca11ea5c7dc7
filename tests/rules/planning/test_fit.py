"""Whether contents fit a bag."""

import pytest
from hypothesis import given, strategies as st

from kits.rules.planning.fit import (
    USUAL_SHARE,
    Capacity,
    Fits,
    Part,
    Tried,
    bulk,
    capacity,
    fits,
    to_move,
)


def test_before_anything_was_tried_the_usual_share_of_the_bag_is_taken() -> None:
    takes = capacity(1000, [])
    assert takes == Capacity(None, None, 1000 * USUAL_SHARE)
    assert fits(700, takes, all_known=True) is Fits.EXPECTED
    assert fits(701, takes, all_known=True) is Fits.TIGHT


def test_nothing_is_said_of_a_bag_of_which_nothing_is_known() -> None:
    assert fits(10, capacity(None, []), all_known=True) is Fits.NOT_KNOWN


def test_a_bag_is_learned_from_what_it_closed_over_and_what_it_did_not() -> None:
    takes = capacity(1000, [Tried(800, True), Tried(900, False)])
    assert fits(800, takes, all_known=True) is Fits.CLOSED_BEFORE
    assert fits(850, takes, all_known=True) is Fits.TIGHT
    assert fits(900, takes, all_known=True) is Fits.WILL_NOT_CLOSE


@pytest.mark.parametrize(
    ("tried", "closed", "not_closed"),
    [
        ([Tried(500, False), Tried(600, True)], 600, None),
        ([Tried(600, True), Tried(500, False)], None, 500),
    ],
)
def test_of_two_trials_that_contradict_the_newest_counts(
    tried: list[Tried], closed: int | None, not_closed: int | None
) -> None:
    takes = capacity(1000, tried)
    assert (takes.closed, takes.not_closed) == (closed, not_closed)


def test_where_volumes_are_missing_nothing_is_said_to_fit() -> None:
    takes = capacity(1000, [Tried(900, False)])
    assert fits(10, takes, all_known=False) is Fits.NOT_KNOWN
    assert fits(950, takes, all_known=False) is Fits.WILL_NOT_CLOSE


def test_the_bulkiest_are_to_be_moved_until_the_rest_fits() -> None:
    parts = [Part(1, 2, 100, 5), Part(2, 1, 300, 5), Part(3, 1, None, None), Part(4, 0, 900, 5)]
    assert [each.item for each in to_move(parts, Capacity(expected=250))] == [2]
    assert to_move(parts, Capacity(expected=500)) == []


def test_what_parts_come_to_names_what_is_not_known() -> None:
    total = bulk([Part(1, 2, 100, 5), Part(3, 1, None, None), Part(4, 0, None, None)])
    assert (total.volume_ml, total.mass_g) == (200, 10)
    assert total.volume_unknown == total.mass_unknown == frozenset({3})


trials = st.lists(st.builds(Tried, st.integers(0, 2000), st.booleans()), max_size=8)


@given(st.none() | st.integers(1, 3000), trials, st.integers(0, 3000), st.integers(0, 500))
def test_less_never_fits_worse(bag: int | None, tried: list[Tried], volume: int, more: int) -> None:
    order = [Fits.CLOSED_BEFORE, Fits.EXPECTED, Fits.TIGHT, Fits.WILL_NOT_CLOSE]
    takes = capacity(bag, tried)
    less, worse = (fits(v, takes, all_known=True) for v in (volume, volume + more))
    if Fits.NOT_KNOWN not in (less, worse):
        assert order.index(less) <= order.index(worse)


@given(st.integers(1, 3000), trials)
def test_what_is_expected_lies_between_what_closed_and_what_did_not(
    bag: int, tried: list[Tried]
) -> None:
    takes = capacity(bag, tried)
    assert takes.expected is not None
    if takes.closed is not None:
        assert takes.expected >= takes.closed
    if takes.not_closed is not None:
        assert takes.expected <= takes.not_closed
