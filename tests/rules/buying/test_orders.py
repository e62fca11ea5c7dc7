"""What becomes of an order's lines."""

from datetime import timedelta

from hypothesis import given, strategies as st

from kits.rules.buying.orders import (
    COUNTS_AFTER_DAYS,
    OrderState,
    Progress,
    is_missing,
    meet,
    state,
)
from tests.day import today

progresses = st.builds(
    Progress, ordered=st.integers(1, 30), arrived=st.integers(0, 40), cancelled=st.integers(0, 30)
)


@given(progresses)
def test_what_was_ordered_arrived_is_open_or_was_cancelled(line: Progress) -> None:
    assert line.ordered + line.extra == line.arrived + line.open + line.cancelled
    assert not (line.open and line.extra)


@given(st.lists(progresses, min_size=1, max_size=5), st.integers(1, 120))
def test_all_that_arrives_is_of_some_line_and_the_oldest_is_filled_first(
    lines: list[Progress], units: int
) -> None:
    taken = meet(lines, units)
    assert sum(taken) == units
    assert min(taken) >= 0
    over = [count - line.open for count, line in zip(taken, lines, strict=True)]
    assert sum(each > 0 for each in over) <= 1
    # Nothing goes to a line, or over what was ordered, while an older one is open.
    for at, count in enumerate(taken):
        if count:
            assert all(t >= line.open for t, line in zip(taken[:at], lines[:at], strict=True))
    if any(each > 0 for each in over):
        assert all(t >= line.open for t, line in zip(taken, lines, strict=True))


@given(st.lists(progresses, min_size=1, max_size=5))
def test_an_order_is_received_or_cancelled_once_nothing_is_open(lines: list[Progress]) -> None:
    found = state(lines, is_draft=False)
    still = any(line.open for line in lines)
    assert still == (found in (OrderState.ORDERED, OrderState.PARTLY_ARRIVED))
    arrived = any(line.arrived for line in lines)
    assert arrived == (found in (OrderState.PARTLY_ARRIVED, OrderState.RECEIVED))
    assert state(lines, is_draft=True) is OrderState.DRAFT


def test_an_order_is_counted_on_until_two_weeks_after_it_was_expected() -> None:
    assert not is_missing(today(), today() + timedelta(days=COUNTS_AFTER_DAYS))
    assert is_missing(today(), today() + timedelta(days=COUNTS_AFTER_DAYS + 1))
