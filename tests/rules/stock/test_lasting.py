"""How long stock lasts: by use, by date, and by nothing."""

from datetime import date, timedelta

import pytest
from hypothesis import given, strategies as st

from kits.rules.stock.lasting import STEPS, Ends, Lasting, Usable, lasting

TODAY = date(2026, 6, 1)
ROWS = st.lists(
    st.builds(
        Usable,
        st.none() | st.integers(0, 1500).map(lambda n: TODAY + timedelta(days=n)),
        st.integers(0, 500),
    ),
    max_size=8,
)
RATES = st.floats(0.01, 100)


def _through(days: int) -> date:
    return TODAY + timedelta(days=days - 1)


def test_what_has_no_date_lasts_until_it_is_used_up() -> None:
    assert lasting([Usable(None, 14)], 2, TODAY) == Lasting(Ends.USED, 49)


def test_what_is_not_used_by_its_date_goes_out_of_date() -> None:
    assert lasting([Usable(_through(7), 10)], 4, TODAY) == Lasting(Ends.OUT_OF_DATE, 7, unused=6)


def test_the_soonest_out_of_date_is_used_first() -> None:
    rows = [Usable(None, 7), Usable(_through(7), 7)]

    assert lasting(rows, 7, TODAY) == Lasting(Ends.USED, 14)


def test_without_use_it_lasts_until_the_last_date() -> None:
    rows = [Usable(_through(30), 5), Usable(_through(90), 5)]

    assert lasting(rows, 0, TODAY) == Lasting(Ends.OUT_OF_DATE, 90)


def test_without_use_and_without_a_date_nothing_ends_it() -> None:
    rows = [Usable(_through(30), 5), Usable(None, 1)]

    answer = lasting(rows, 0, TODAY)

    assert answer == Lasting(Ends.NOT_KNOWN, None)
    assert answer.bar == 0


def test_nothing_there_lasts_no_day() -> None:
    assert lasting([Usable(None, 0)], 3, TODAY) == Lasting(Ends.NOTHING_THERE, 0)
    assert lasting([], 0, TODAY).bar == 0


def test_no_rate_is_below_nothing() -> None:
    with pytest.raises(ValueError, match="cannot be"):
        lasting([], -1, TODAY)


@given(ROWS, RATES)
def test_no_more_is_lost_than_is_there_and_nothing_lasts_past_its_date(
    rows: list[Usable], rate: float
) -> None:
    answer = lasting(rows, rate, TODAY)

    assert answer.days is not None
    assert 0 <= answer.unused <= sum(row.units for row in rows)
    assert 0 <= answer.bar <= STEPS
    dates = [row.good_through for row in rows if row.units and row.good_through]
    if len(dates) == len([row for row in rows if row.units]) and dates:
        assert answer.days <= (max(dates) - TODAY).days + 1


@given(ROWS, RATES, st.integers(1, 50))
def test_more_stock_never_lasts_shorter(rows: list[Usable], rate: float, more: int) -> None:
    before, after = lasting(rows, rate, TODAY), lasting([*rows, Usable(None, more)], rate, TODAY)

    assert (after.days or 0) >= (before.days or 0)
