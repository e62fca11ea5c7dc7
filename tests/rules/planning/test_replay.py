"""What a list would have come to on trips that are over."""

from datetime import date, timedelta
from decimal import Decimal

from hypothesis import given, strategies as st

from kits.rules.planning.replay import Line, PastTrip, replay

DAY = date(2026, 3, 1)
SWAB, ROLL, TAPE = 1, 2, 3


def trip(n: int, wanted: dict[int, int], *, after: int = 0, known: bool = True) -> PastTrip:
    return PastTrip(n, DAY + timedelta(days=after), wanted, known=known)


def test_what_a_trip_wanted_beyond_what_is_carried_is_a_shortage() -> None:
    done = replay([Line(SWAB, carry=4)], [trip(1, {SWAB: 6}), trip(2, {SWAB: 4})])
    assert [(s.trip, s.item, s.wanted, s.lacking) for s in done.shortages] == [(1, SWAB, 6, 2)]
    assert (done.counted, done.short_trips) == (2, 1)


def test_what_is_not_on_the_list_is_lacking_whole() -> None:
    done = replay([Line(SWAB, carry=4)], [trip(1, {TAPE: 1})])
    assert [(s.item, s.lacking) for s in done.shortages] == [(TAPE, 1)]


def test_a_line_stands_in_with_so_many_units_for_one_and_only_with_what_it_does_not_need() -> None:
    lines = [Line(SWAB, carry=4), Line(ROLL, carry=5, stands_in={SWAB: 2.0})]
    [one] = replay(lines, [trip(1, {SWAB: 6, ROLL: 2})]).shortages
    assert one.lacking == 1  # three rolls are left, two do for one swab
    enough = replay(lines, [trip(1, {SWAB: 6, ROLL: 1})])
    assert enough.shortages == []
    assert [(s.item, s.stood_in, s.lacking) for s in enough.stood_in] == [(SWAB, 2, 0)]
    assert (one.stood_in, enough.stood_in_trips) == (1, 1)


def test_what_is_not_on_the_list_is_apart_from_what_ran_out() -> None:
    lines = [Line(SWAB, carry=4), Line(ROLL, carry=1, stands_in={TAPE: 1.0})]
    trips = [trip(1, {9: 1, SWAB: 5}), trip(2, {9: 2}), trip(3, {TAPE: 2})]
    done = replay(lines, trips)
    assert [(s.trip, s.item, s.on_list) for s in done.shortages] == [
        (1, 9, False),
        (1, SWAB, True),
        (2, 9, False),
        (3, TAPE, True),
    ]
    assert (done.short_trips, done.not_on_list_trips, done.ran_out_trips) == (3, 2, 2)


def test_where_all_that_was_carried_went_it_was_perhaps_short() -> None:
    past = PastTrip(1, DAY, {SWAB: 4}, at_least=frozenset({SWAB}))
    done = replay([Line(SWAB, carry=6)], [past, trip(2, {SWAB: 2})])
    assert done.shortages == []
    assert [(s.trip, s.item, s.lacking) for s in done.perhaps] == [(1, SWAB, 0)]
    assert done.perhaps_trips == 1


def test_a_trip_that_nobody_counted_is_named_and_left_out() -> None:
    done = replay([Line(SWAB, carry=1)], [trip(1, {}), trip(2, {SWAB: 9}, known=False)])
    assert (done.counted, done.not_counted, done.shortages) == (1, [2], [])


def test_a_shortage_where_all_that_was_carried_went_says_so() -> None:
    past = PastTrip(1, DAY, {SWAB: 4}, at_least=frozenset({SWAB}))
    [one] = replay([Line(SWAB, carry=3)], [past]).shortages
    assert one.at_least


def test_what_reaches_its_date_unused_is_thrown_out_and_bought_again() -> None:
    line = Line(SWAB, carry=4, price=Decimal("0.50"), shelf_life_days=100)
    trips = [trip(1, {SWAB: 1}), trip(2, {}, after=150), trip(3, {}, after=320)]
    done = replay([line], trips)
    # 3 of the first fill and the 1 filled in after trip 1 end on day 100; then all 4 on day 201,
    # and those bought that day on day 302.
    assert done.thrown_out == {SWAB: 12}
    assert done.waste == Decimal("6.00")


def test_mass_and_money_say_what_they_leave_out() -> None:
    lines = [Line(SWAB, carry=2, mass_g=10), Line(ROLL, carry=1, price=Decimal(3))]
    done = replay(lines, [])
    assert done.mass_g == 20
    assert done.unweighed == frozenset({ROLL})
    assert done.unpriced == frozenset({SWAB})


wants = st.dictionaries(st.integers(1, 3), st.integers(0, 8), max_size=3)
packed = st.lists(st.integers(1, 6), min_size=3, max_size=3)


@given(packed, st.lists(wants, max_size=8), st.integers(1, 400))
def test_more_never_lacks_more_and_never_throws_out_fewer(
    carried: list[int], past: list[dict[int, int]], life: int
) -> None:
    trips = [trip(n, each, after=n * 60) for n, each in enumerate(past)]
    lines = [Line(n + 1, carry=units, shelf_life_days=life) for n, units in enumerate(carried)]
    more = [Line(each.item, each.carry + 1, shelf_life_days=life) for each in lines]
    less_done, more_done = replay(lines, trips), replay(more, trips)
    assert sum(s.lacking for s in more_done.shortages) <= sum(
        s.lacking for s in less_done.shortages
    )
    assert sum(more_done.thrown_out.values()) >= sum(less_done.thrown_out.values())


@given(packed, st.lists(wants, max_size=8))
def test_units_are_used_or_lacking_and_never_more_than_carried(
    carried: list[int], past: list[dict[int, int]]
) -> None:
    trips = [trip(n, each, after=n) for n, each in enumerate(past)]
    lines = [Line(n + 1, carry=units) for n, units in enumerate(carried)]
    for short in replay(lines, trips).shortages:
        assert short.lacking == max(0, short.wanted - carried[short.item - 1])
