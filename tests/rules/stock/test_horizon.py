"""Units over the months in which they go out of date, and their picture."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, strategies as st

from kits.rules.stock.horizon import FEWEST_MONTHS, MOST_MONTHS, Dated, axis, bars, months_for

GROUPS = ("shelves", "kits", "apart")
TODAY = date(2026, 11, 25)
ROWS = st.lists(
    st.builds(
        Dated,
        st.sampled_from(GROUPS),
        st.none() | st.dates(date(2020, 1, 1), date(2040, 12, 31)),
        st.integers(0, 400),
    ),
    max_size=30,
)
TODAYS = st.dates(date(2024, 1, 1), date(2032, 12, 31))


def column(day: date) -> list[Any]:
    """Where a unit good through a day stands on an axis of twelve months."""
    drawn = axis([Dated("kits", day, 1)], GROUPS, today=TODAY, months=12)
    return [n for n, each in enumerate(drawn.columns) if each.total]


def test_what_was_good_until_yesterday_is_past_and_until_today_is_of_this_month() -> None:
    assert column(TODAY - timedelta(days=1)) == [0]
    assert column(TODAY) == [1]


def test_a_months_last_day_and_the_next_months_first_are_apart() -> None:
    assert column(date(2026, 11, 30)) == [1]
    assert column(date(2026, 12, 1)) == [2]
    assert column(date(2027, 10, 31)) == [12]
    assert column(date(2027, 11, 1)) == [13]  # later


def test_what_has_no_date_stands_beside_the_axis() -> None:
    drawn = axis([Dated("kits", None, 7)], GROUPS, today=TODAY, months=12)

    assert drawn.undated.units == (0, 7, 0)
    assert drawn.most == 0


def test_each_month_is_named_by_its_first_day() -> None:
    drawn = axis([], GROUPS, today=TODAY, months=3)

    assert [each.first for each in drawn.months] == [
        date(2026, 11, 1),
        date(2026, 12, 1),
        date(2027, 1, 1),
    ]
    assert drawn.past.first is drawn.later.first is None


@given(ROWS, TODAYS)
def test_no_unit_is_lost_or_counted_twice(rows: list[Dated], today: date) -> None:
    drawn = axis(rows, GROUPS, today=today, months=months_for(rows, today))

    for n, group in enumerate(GROUPS):
        there = sum(each.units[n] for each in (*drawn.columns, drawn.undated))
        assert there == sum(row.units for row in rows if row.group == group)


@given(ROWS, TODAYS)
def test_an_axis_is_as_long_as_it_has_to_be_and_still_easy_to_read(
    rows: list[Dated], today: date
) -> None:
    months = months_for(rows, today)
    drawn = axis(rows, GROUPS, today=today, months=months)

    assert FEWEST_MONTHS <= months <= MOST_MONTHS
    assert drawn.later.total == 0 or months == MOST_MONTHS


@given(ROWS, TODAYS, st.integers(10, 400))
def test_bars_stand_on_each_other_in_their_column_and_fit_the_picture(
    rows: list[Dated], today: date, height: int
) -> None:
    drawn = axis(rows, GROUPS, today=today, months=12)
    step, width = 36, 28

    for number, (stack, of) in enumerate(
        zip(bars(drawn, height=height, step=step, width=width), drawn.columns, strict=True)
    ):
        foot = height
        assert [bar.group for bar in stack] == [n for n, units in enumerate(of.units) if units]
        for bar in stack:
            assert bar.y + bar.height == foot
            assert bar.height >= 2
            assert number * step <= bar.x
            assert bar.x + bar.width <= (number + 1) * step
            foot = bar.y
        assert foot >= -2 * len(GROUPS)


def test_the_highest_column_fills_the_picture() -> None:
    rows = [Dated("kits", date(2027, 1, 5), 50), Dated("shelves", date(2027, 3, 5), 25)]
    drawn = axis(rows, GROUPS, today=TODAY, months=12)

    heights = [bar.height for stack in bars(drawn, height=100, step=10, width=8) for bar in stack]
    assert heights == [100, 50]


@pytest.mark.parametrize(
    "wrong", [Dated("elsewhere", None, 1), Dated("kits", TODAY, -1)], ids=["group", "units"]
)
def test_a_row_without_a_place_is_refused(wrong: Dated) -> None:
    with pytest.raises(ValueError, match="no place on an axis"):
        axis([wrong], GROUPS, today=TODAY, months=12)


def test_an_axis_of_no_months_is_refused() -> None:
    with pytest.raises(ValueError, match="1 or more"):
        axis([], GROUPS, today=TODAY, months=0)
