"""Which kit would be missed least, over every small school."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, strategies as st

from kits.rules.leaving.missed import Busy, KitOfList, missed
from kits.rules.ledger import KitState, TripNeeds

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


def serving(kit: int, of_list: int, people: int, days_: int, *hazards: str) -> KitOfList:
    state = KitState(
        kit, f"KIT-{kit}", (), (), serves_people=people, serves_days=days_,
        hazards=frozenset(hazards),
    )  # fmt: skip
    return KitOfList(kit, of_list, state=state)


@pytest.mark.parametrize(
    ("fuller", "will_do"),
    [
        (serving(2, 2, 12, 7, "hill", "water"), True),
        (serving(2, 2, 8, 2, "hill"), True),
        (serving(2, 2, 7, 2, "hill"), False),  # too few people
        (serving(2, 2, 8, 1, "hill"), False),  # too few days
        (serving(2, 2, 8, 2, "water"), False),  # not this hazard
        (KitOfList(2, 2), False),  # nothing is known of it
    ],
)
def test_a_kit_of_a_fuller_list_that_covers_the_trip_will_do(
    fuller: KitOfList, will_do: bool
) -> None:
    kits = [serving(1, 1, 8, 2, "hill"), fuller]
    needs = TripNeeds(8, *days(0, 1), frozenset({"hill"}))
    cases = (
        (needs, will_do),
        (replace(needs, children=True), False),
        (replace(needs, latex_free=True), False),
    )
    for asks, expected in cases:
        on = [Busy(1, 7, *days(0, 1))]
        rows = missed(kits, on, on, {7: asks})
        (row,) = (row for row in rows if row.kit == 1)
        assert (row.past_without == row.coming_without == ()) is expected


def test_the_other_kits_of_a_trip_count_with_the_one_that_takes_its_place() -> None:
    small, needs = serving(3, 3, 4, 2, "hill"), TripNeeds(8, *days(0, 1), frozenset({"hill"}))
    kits = [serving(1, 1, 8, 2, "hill"), serving(2, 2, 4, 2), small]
    alone, both = [Busy(1, 7, *days(0, 1))], [Busy(n, 7, *days(0, 1)) for n in (1, 2)]
    for on, expected in ((alone, (7,)), (both, ())):
        rows = missed(kits, on, [], {7: needs})
        assert {row.kit: row.past_without for row in rows}[1] == expected


def test_a_kit_is_not_back_before_it_went() -> None:
    with pytest.raises(ValueError, match="back"):
        Busy(1, None, *days(2, 1))
