"""Which kit would be missed least, over every small school."""

from datetime import date, timedelta

import pytest
from hypothesis import given, strategies as st

from kits.rules.leaving.missed import Busy, KitOfList, missed

DAY = date(2030, 5, 6)


def days(first: int, last: int) -> tuple[date, date]:
    return DAY + timedelta(days=first), DAY + timedelta(days=last)


busy = st.builds(
    lambda kit, trip, first, more: Busy(kit, trip, *days(first, first + more)),
    st.integers(1, 4),
    st.none() | st.integers(1, 9),
    st.integers(0, 6),
    st.integers(0, 2),
)
schools = st.lists(
    st.builds(KitOfList, st.integers(1, 4), st.integers(1, 2), st.booleans()),
    unique_by=lambda kit: kit.id,
)


@given(schools, st.lists(busy), st.lists(busy))
def test_each_kit_stands_once_and_is_missed_on_its_own_trips_alone(
    kits: list[KitOfList], past: list[Busy], coming: list[Busy]
) -> None:
    rows = missed(kits, past, coming)
    assert sorted(row.kit for row in rows) == sorted(kit.id for kit in kits)
    assert [row.order for row in rows] == sorted(row.order for row in rows)
    for row in rows:
        own = {each.trip for each in past if each.kit == row.kit}
        assert set(row.past_without) <= own
        assert len(row.past_without) <= row.past


@given(schools, st.lists(busy), st.lists(busy))
def test_one_more_kit_that_nobody_needs_leaves_none_missed_of_its_list(
    kits: list[KitOfList], past: list[Busy], coming: list[Busy]
) -> None:
    rows = missed([*kits, KitOfList(99, 1)], past, coming)
    of_list = {kit.id for kit in kits if kit.list == 1}
    for row in rows:
        if row.kit in of_list:
            assert row.past_without == row.coming_without == ()


def test_a_trip_on_which_a_kit_went_out_twice_counts_once() -> None:
    twice = [Busy(1, 7, *days(0, 1)), Busy(1, 7, *days(3, 4)), Busy(1, None, *days(6, 6))]
    (row,) = missed([KitOfList(1, 1)], twice, twice)
    assert (row.past, row.coming) == (1, 1)


@given(schools, st.lists(busy))
def test_the_only_kit_of_its_list_is_missed_on_every_trip(
    kits: list[KitOfList], past: list[Busy]
) -> None:
    for row in missed([*kits, KitOfList(5, 3)], [*past, Busy(5, 7, *days(0, 1))], []):
        if row.kit == 5:
            assert row.past_without == (7,)


@given(schools, st.lists(busy))
def test_it_is_what_looking_at_each_day_says(kits: list[KitOfList], past: list[Busy]) -> None:
    taken = {
        (each.kit, each.first + timedelta(days=n))
        for each in past
        for n in range((each.last - each.first).days + 1)
    }
    lists = {kit.id: kit.list for kit in kits}
    for row in missed(kits, past, []):
        for each in past:
            if each.kit != row.kit or each.trip is None:
                continue
            on = [each.first + timedelta(days=n) for n in range((each.last - each.first).days + 1)]
            free = [
                kit.id
                for kit in kits
                if kit.stands_in and kit.id != row.kit and kit.list == lists[row.kit]
                and not any((kit.id, day) in taken for day in on)
            ]  # fmt: skip
            if not free:
                assert each.trip in row.past_without


def test_a_kit_is_not_back_before_it_went() -> None:
    with pytest.raises(ValueError, match="back"):
        Busy(1, None, *days(2, 1))
