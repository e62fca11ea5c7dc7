"""The last good day that a pack has printed on it, as people and GS1 codes write it."""

from datetime import date, timedelta

import pytest
from hypothesis import given, strategies as st

from kits.rules.ledger.expiry import (
    WINDOW_YEARS,
    PrintedDateError,
    gs1_last_good_day,
    last_good_day,
)

TODAY = date(2026, 11, 25)
MONTH_END = date(2027, 5, 31)
NEAR = st.dates(date(1990, 1, 1), date(2060, 12, 31))


@pytest.mark.parametrize(
    "printed",
    [
        *("2027-05", "2027/05", "2027 05", "05/2027", "05.2027", "5/2027", "05 2027", "05/27"),
        *("MAY 2027", "May 2027", "may2027", "MAY-27", "2027 May", "EXP 2027-05", "Exp. 05/2027"),
        *("EXPIRY DATE: MAY 2027", "use by 05/2027", "  2027-05 ", "270500", "(17)270500"),
        *("2027-05-31", "20270531", "31.05.2027", "31/05/2027", "05/31/2027", "31 MAY 2027"),
        *("31MAY2027", "May 31, 2027", "2027 MAY 31", "31 May 27", "(17)270531"),
    ],
)
def test_it_reads_what_packs_have_printed_on_them(printed: str) -> None:
    assert last_good_day(printed, today=TODAY) == MONTH_END


@given(NEAR)
def test_a_printed_day_is_good_through_that_day(day: date) -> None:
    for printed in (f"{day:%Y-%m-%d}", f"{day:%Y%m%d}", f"{day:%d %B %Y}", f"{day:%d%b%Y}"):
        assert last_good_day(printed, today=TODAY) == day


@given(NEAR)
def test_a_printed_month_is_good_through_its_last_day(day: date) -> None:
    for printed in (f"{day:%Y-%m}", f"{day:%m/%Y}", f"{day:%B %Y}", f"{day:%b %Y}"):
        last = last_good_day(printed, today=TODAY)
        assert (last.year, last.month) == (day.year, day.month)
        assert (last + timedelta(days=1)).day == 1


@pytest.mark.parametrize(
    ("printed", "last"),
    [("2028-02", 29), ("2027-02", 28), ("2000-02", 29), ("02/2028", 29), ("280200", 29)],
)
def test_it_knows_leap_years(printed: str, last: int) -> None:
    assert last_good_day(printed, today=TODAY).day == last


@given(NEAR)
def test_a_day_and_month_that_could_change_places_are_refused_with_both_readings(
    day: date,
) -> None:
    printed = f"{day:%d/%m/%Y}"
    if day.day > 12 or day.day == day.month:
        assert last_good_day(printed, today=TODAY) == day
        return
    other = date(day.year, day.day, day.month)
    with pytest.raises(PrintedDateError) as told:
        last_good_day(printed, today=TODAY)
    assert set(told.value.readings) == {day, other}
    assert all(reading.isoformat() in str(told.value) for reading in told.value.readings)


@pytest.mark.parametrize(
    "printed", ["05/06/27", "31.05.27", "27-05-31", "270531", "EXP270531", "05.06.2027"]
)
def test_it_never_guesses_which_number_is_the_year_or_the_day(printed: str) -> None:
    with pytest.raises(PrintedDateError, match="more than one way"):
        last_good_day(printed, today=TODAY)


@pytest.mark.parametrize(
    "printed",
    [
        *("", " ", "none", "soon", "2027", "27/05", "2027-13", "2027-02-30", "2027-00", "MAY"),
        *("MAYBE 2027", "31 MAY", "202705", "052027", "2027-05-31T00:00", "1/1/1/2027", "5/7"),
        *("31/02/27", "31.2.27", "30-02-27", "310227", "2712", "320531", "32/05/31", "29/02/27"),
        *("٢٠٢٧-٠٥", "2027–05", "2027-05-", "x" * 10_000, "0000-00-00"),
        *("16/01/01", "270500/1", "271300", "-2027-05"),
    ],
)
def test_what_is_no_date_is_refused_with_what_to_type(printed: str) -> None:
    with pytest.raises(PrintedDateError, match="05/2027") as told:
        last_good_day(printed, today=TODAY)
    assert told.value.printed == printed
    assert len(str(told.value)) < 200


@given(st.integers(0, 31), st.integers(0, 31), st.integers(0, 99), st.sampled_from("/.- "))
def test_three_short_numbers_are_only_read_with_the_year_last(
    one: int, two: int, year: int, mark: str
) -> None:
    printed = mark.join(f"{number:02}" for number in (one, two, year))
    try:
        day = last_good_day(printed, today=TODAY)
    except PrintedDateError as error:
        assert all(abs(each.year - TODAY.year) <= WINDOW_YEARS for each in error.readings)
        return
    assert day.year % 100 == year and {day.day, day.month} == {one, two}


@given(st.integers(0, 31), st.integers(0, 31), st.integers(0, 99), st.sampled_from(["", "/", "-"]))
def test_what_is_a_likely_date_with_the_year_first_too_is_never_taken_without_asking(
    one: int, two: int, year: int, mark: str
) -> None:
    printed = mark.join(f"{number:02}" for number in (one, two, year))
    try:
        year_first = date(2000 + one, two, year)
    except ValueError:
        return
    if not 2016 <= year_first.year <= 2076:
        return
    try:
        day = last_good_day(printed, today=TODAY)
    except PrintedDateError as error:
        assert not error.readings or year_first in error.readings
    else:
        assert day == year_first


@given(st.integers(0, 99), st.integers(0, 99))
def test_two_short_numbers_are_a_month_and_a_year(month: int, year: int) -> None:
    for printed in (f"{month:02}/{year:02}", f"{month:02}{year:02}"):
        if printed[:2] in ("19", "20"):
            continue
        try:
            day = last_good_day(printed, today=TODAY)
        except PrintedDateError:
            continue
        assert (day.month, day.year % 100) == (month, year)


@pytest.mark.parametrize(
    ("printed", "readings"),
    [
        ("02/03/27", [date(2027, 2, 3), date(2027, 3, 2)]),
        ("30/04/27", [date(2027, 4, 30), date(2030, 4, 27)]),
        ("05/06/2002", [date(2002, 5, 6), date(2002, 6, 5)]),
    ],
)
def test_only_likely_expiry_dates_are_offered_where_there_is_one(
    printed: str, readings: list[date]
) -> None:
    with pytest.raises(PrintedDateError) as error:
        last_good_day(printed, today=TODAY)
    assert list(error.value.readings) == readings


@pytest.mark.parametrize("printed", ["1927-05", "2207-05-01", "0027-05"])
def test_a_year_nobody_prints_is_asked_about(printed: str) -> None:
    with pytest.raises(PrintedDateError, match="Check the year"):
        last_good_day(printed, today=TODAY)


@given(st.text(max_size=40))
def test_any_text_is_either_a_date_or_a_clear_error(printed: str) -> None:
    try:
        day = last_good_day(printed, today=TODAY)
    except PrintedDateError as told:
        assert str(told)
    else:
        assert abs(day.year - TODAY.year) <= WINDOW_YEARS


@given(st.dates(date(1960, 1, 1), date(2199, 12, 31)), st.integers(0, 99))
def test_the_century_is_the_nearest_by_the_sliding_window(today: date, two_digits: int) -> None:
    found = gs1_last_good_day(f"{two_digits:02}0100", today=today)
    assert found.year % 100 == two_digits
    assert -49 <= found.year - today.year <= 50


@pytest.mark.parametrize(
    ("today", "yy", "year"),
    [(2026, "76", 2076), (2026, "77", 1977), (1999, "49", 2049), (1999, "50", 1950)],
)
def test_the_window_turns_where_the_standard_says(today: int, yy: str, year: int) -> None:
    assert gs1_last_good_day(yy + "0101", today=date(today, 7, 1)) == date(year, 1, 1)


@pytest.mark.parametrize("text", ["", "27053", "2705311", "27O531", "271331", "270229", "270001"])
def test_a_gs1_date_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(PrintedDateError):
        gs1_last_good_day(text, today=TODAY)
