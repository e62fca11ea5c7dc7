"""Trips and the kits promised to them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kits.rules.trips import (
    Promise,
    TripDaysError,
    check_days,
    goes_out_for,
    in_the_way,
    next_promise,
    ready_through,
    still_to_take,
)

TODAY = date(2028, 2, 28)
DAY = timedelta(days=1)
days = st.integers(-4, 6).map(lambda n: TODAY + n * DAY)
promises = st.builds(
    lambda first, length, ident, kit, trip, taken: Promise(
        first, first + length * DAY, ident, kit, trip, taken
    ),
    days,
    st.integers(0, 3),
    st.integers(1, 10**6),
    st.integers(1, 2),
    st.integers(1, 4),
    st.booleans(),
)


def promise(first: int, last: int, ident: int = 1, kit: int = 1, trip: int = 0) -> Promise:
    return Promise(TODAY + first * DAY, TODAY + last * DAY, ident, kit, trip or ident)


def test_a_trip_may_end_on_the_day_it_begins_but_not_before() -> None:
    check_days(TODAY, TODAY)
    with pytest.raises(TripDaysError, match="27 February 2028, before it begins on 28 February"):
        check_days(TODAY, TODAY - DAY)


def test_trips_that_share_a_day_cannot_share_a_kit() -> None:
    assert in_the_way(promise(0, 2, 1), [promise(2, 3, 2)]) == (promise(2, 3, 2),)


def test_a_kit_may_go_out_the_morning_after_it_came_back_unless_more_nights_are_wanted() -> None:
    assert in_the_way(promise(0, 1, 1), [promise(2, 3, 2)]) == ()
    assert in_the_way(promise(0, 1, 1), [promise(2, 3, 2)], nights=2) == (promise(2, 3, 2),)
    assert in_the_way(promise(0, 1, 1), [promise(3, 3, 2)], nights=2) == ()
    assert in_the_way(promise(0, 1, 1), [promise(1, 3, 2)], nights=0) == ()


def test_neither_another_kit_nor_the_same_trip_is_in_the_way() -> None:
    assert in_the_way(promise(0, 2, 1), [promise(0, 2, 2, kit=2), promise(0, 1, 3, trip=1)]) == ()


@given(promises, st.lists(promises, max_size=6), st.integers(1, 3))
def test_a_promise_is_in_the_way_when_no_night_count_lies_between(
    wanted: Promise, others: list[Promise], nights: int
) -> None:
    found = in_the_way(wanted, others, nights=nights)
    assert list(found) == sorted(found)
    for other in others:
        if other.kit == wanted.kit and other.trip != wanted.trip:
            busy = {
                other.first_day + n * DAY
                for n in range((other.last_day - other.first_day).days + nights)
            }
            wants = {
                wanted.first_day + n * DAY
                for n in range((wanted.last_day - wanted.first_day).days + nights)
            }
            assert (other in found) == bool(busy & wants)
            assert (wanted in in_the_way(other, [wanted], nights=nights)) == (other in found)


@given(st.lists(promises, max_size=6), days)
def test_a_kit_s_next_promise_is_the_first_not_over_and_not_taken(
    some: list[Promise], today: date
) -> None:
    found = next_promise(some, 1, today)
    open_ones = [p for p in some if p.kit == 1 and not p.taken and p.last_day >= today]
    assert found == (sorted(open_ones)[0] if open_ones else None)
    assert ready_through(some, 1, today, otherwise_days=30) == (
        today + 30 * DAY if found is None else found.last_day
    )


def test_a_kit_goes_out_for_a_trip_that_has_begun_or_starts_tomorrow() -> None:
    assert goes_out_for([promise(0, 2)], 1, TODAY) == promise(0, 2)
    assert goes_out_for([promise(-1, 2)], 1, TODAY) == promise(-1, 2)
    assert goes_out_for([promise(1, 2)], 1, TODAY) == promise(1, 2)
    assert goes_out_for([promise(2, 2)], 1, TODAY) is None
    assert goes_out_for([promise(2, 2)], 1, TODAY, days_ahead=2) == promise(2, 2)
    assert goes_out_for([replace(promise(0, 2), taken=True)], 1, TODAY) is None


def test_it_knows_which_of_a_trip_s_kits_are_still_to_be_taken() -> None:
    one, two = promise(0, 2, 1, kit=1, trip=5), promise(0, 2, 2, kit=2, trip=5)
    other = promise(0, 2, 3, kit=3, trip=6)
    assert still_to_take([two, other, one], 5) == (one, two)
    assert still_to_take([two, other, replace(one, taken=True)], 5) == (two,)
