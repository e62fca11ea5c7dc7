"""Which day and trip a kit is judged for where nobody asks for another."""

from datetime import date, timedelta

from hypothesis import given, strategies as st

from kits.rules.ledger.question import DAYS_AHEAD, Coming, Out, question

TODAY = date(2028, 2, 27)
DAY = timedelta(days=1)
near = st.integers(-20, 20).map(lambda n: TODAY + n * DAY)


def coming(first: int, last: int, trip: int = 7) -> Coming:
    return Coming(TODAY + first * DAY, TODAY + last * DAY, trip, TODAY + last * DAY)


def test_without_a_trip_it_is_judged_for_today() -> None:
    assert question(TODAY, None, []) == (TODAY, None)


def test_a_reserved_trip_that_begins_within_a_week_is_what_it_is_judged_for() -> None:
    assert question(TODAY, None, [coming(DAYS_AHEAD, 9)]) == (TODAY + 9 * DAY, 7)
    assert question(TODAY, None, [coming(DAYS_AHEAD + 1, 9)]) == (TODAY, None)


def test_the_first_of_several_trips_is_judged() -> None:
    assert question(TODAY, None, [coming(3, 4, 8), coming(1, 2, 7)]) == (TODAY + 2 * DAY, 7)


def test_a_kit_that_is_out_is_judged_for_its_trip_whatever_it_is_reserved_for() -> None:
    out = Out(trip=3, last_day=TODAY + 5 * DAY, due_on=TODAY + 6 * DAY)
    assert question(TODAY, out, [coming(0, 1)]) == (TODAY + 5 * DAY, 3)


def test_a_kit_that_is_out_without_a_trip_is_judged_through_the_day_it_is_due() -> None:
    assert question(TODAY, Out(due_on=TODAY + 2 * DAY), [coming(0, 1)]) == (TODAY + 2 * DAY, None)
    assert question(TODAY, Out(), [coming(0, 1)]) == (TODAY, None)


@given(
    st.none()
    | st.builds(Out, trip=st.none(), due_on=st.none() | near)
    | st.builds(Out, trip=st.integers(1, 9), last_day=near),
    st.lists(st.builds(Coming, near, near, st.integers(1, 9)), max_size=4),
)
def test_no_kit_is_ever_judged_for_a_day_that_is_past(out: Out | None, trips: list[Coming]) -> None:
    through, trip = question(TODAY, out, trips)
    assert through >= TODAY
    assert trip is None or trip in {each.trip for each in trips} | ({out.trip} if out else set())
