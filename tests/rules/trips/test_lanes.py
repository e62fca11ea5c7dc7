"""Spans of days side by side."""

from datetime import date, timedelta

from hypothesis import given, strategies as st

from kits.rules.trips.lanes import Days, lanes

DAY = date(2026, 3, 1)


@st.composite
def spans(draw: st.DrawFn) -> Days:
    first = DAY + timedelta(days=draw(st.integers(0, 30)))
    return Days(first, first + timedelta(days=draw(st.integers(0, 9))))


@given(st.lists(spans(), max_size=12))
def test_no_two_in_a_lane_share_a_day_and_no_lane_is_needless(given_spans: list[Days]) -> None:
    found = lanes(given_spans)
    for at, span in enumerate(given_spans):
        for other in range(at):
            assert found[at] != found[other] or not span.meets(given_spans[other])
    busiest = max(
        (
            sum(each.meets(Days(day, day)) for each in given_spans)
            for day in (DAY + timedelta(days=n) for n in range(41))
        ),
        default=0,
    )
    assert len(set(found)) == busiest
