"""What may not stay where it is kept, when it has to leave, and when it may be back."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import assume, given, strategies as st

from kits.rules.ledger.facts import Batch, Line, Thing, Units, Weather
from kits.rules.ledger.readiness import judge
from kits.rules.ledger.weather import (
    LEAD_DAYS,
    Threat,
    due,
    in_a_row,
    may_return,
    months_of,
    removals,
    stretch,
    threats,
)
from kits.rules.restocking.picking import restock
from tests.rules.ledger.kits_of import codes, kit_of, some

DAY = timedelta(days=1)
WINTER = frozenset({12, 1, 2})
GEL = Thing(9, "cold gel", min_temp_c=0, max_temp_c=40)
PAPER = Thing(8, "notebook", keep_dry=True)
ANYTHING = Thing(7, "shears")
VAN = Weather(frost=WINTER, coldest_c=-10, heat=frozenset({6, 7, 8}), hottest_c=60)

days = st.dates(date(1904, 1, 1), date(2196, 12, 31))
months = st.frozensets(st.integers(1, 12))
degrees = st.none() | st.integers(-40, 80)
weathers = st.builds(
    Weather, frost=months, heat=months, wet=months, coldest_c=degrees, hottest_c=degrees
)
things = st.builds(
    Thing,
    id=st.integers(1, 5),
    name=st.sampled_from("abc"),
    min_temp_c=degrees,
    max_temp_c=degrees,
    keep_dry=st.booleans(),
)


def held(thing: Thing, count: int = 2) -> Units:
    return Units(Batch(thing.id, thing), "front", count)


# ---- days in a row
@given(months, days)
def test_a_stretch_is_all_days_of_its_months_in_a_row_from_today_on(
    wanted: frozenset[int], today: date
) -> None:
    ahead = stretch(wanted, today)
    if not wanted or len(wanted) == 12:
        assert (ahead is None) is (not wanted)
        return
    assert ahead is not None
    assert ahead.last >= today
    inside = [ahead.first + n * DAY for n in range((ahead.last - ahead.first).days + 1)]
    assert {day.month for day in inside} <= wanted
    assert (ahead.first - DAY).month not in wanted
    assert (ahead.last + DAY).month not in wanted
    between = [today + n * DAY for n in range((ahead.first - today).days)]
    assert not any(day.month in wanted for day in between)


@pytest.mark.parametrize(
    ("wanted", "today", "first", "last"),
    [
        (WINTER, date(2026, 11, 2), date(2026, 12, 1), date(2027, 2, 28)),
        (WINTER, date(2027, 12, 31), date(2027, 12, 1), date(2028, 2, 29)),
        (WINTER, date(2028, 1, 1), date(2027, 12, 1), date(2028, 2, 29)),
        (WINTER, date(2028, 3, 1), date(2028, 12, 1), date(2029, 2, 28)),
        ({2}, date(2100, 1, 31), date(2100, 2, 1), date(2100, 2, 28)),
        ({6, 7, 8}, date(2026, 12, 24), date(2027, 6, 1), date(2027, 8, 31)),
        ({1, 7}, date(2026, 3, 1), date(2026, 7, 1), date(2026, 7, 31)),
    ],
)
def test_stretches_over_new_year_and_in_leap_years(
    wanted: set[int], today: date, first: date, last: date
) -> None:
    ahead = stretch(frozenset(wanted), today)
    assert ahead is not None
    assert (ahead.first, ahead.last) == (first, last)


@given(days, st.integers(0, 3000))
def test_the_months_from_a_day_through_another_are_those_of_its_days(
    first: date, more: int
) -> None:
    last = first + more * DAY
    assert months_of(first, last) == {(first + n * DAY).month for n in range(min(more, 400) + 1)}


@given(months, days)
def test_it_is_due_four_weeks_before_and_until_the_last_day(
    wanted: frozenset[int], today: date
) -> None:
    near = {(today + n * DAY).month for n in range(LEAD_DAYS + 1)}
    assert (due(wanted, today) is not None) is bool(near & wanted)


# ---- what harms what
def test_a_limit_counts_where_the_location_passes_it() -> None:
    assert threats(GEL, VAN) == {Threat.FROST: WINTER, Threat.HEAT: frozenset({6, 7, 8})}
    assert threats(GEL, replace(VAN, hottest_c=40)) == {Threat.FROST: WINTER}
    assert threats(replace(GEL, min_temp_c=-10), VAN) == {Threat.HEAT: frozenset({6, 7, 8})}
    assert threats(GEL, Weather(frost=WINTER)) == {Threat.FROST: WINTER}
    assert threats(replace(GEL, min_temp_c=-1), Weather(frost=WINTER)) == {}
    assert threats(PAPER, Weather(wet=frozenset({4}))) == {Threat.WET: frozenset({4})}


@given(weathers)
def test_what_has_no_limit_may_stay_anywhere(weather: Weather) -> None:
    assert threats(ANYTHING, weather) == {}


@given(things, days)
def test_a_location_without_weather_asks_nothing(thing: Thing, today: date) -> None:
    assert removals([held(thing)], Weather(), today) == []
    assert may_return(thing, Weather(), today)


@given(st.lists(things, max_size=4, unique_by=lambda x: x.id), weathers, days)
def test_each_thing_either_has_to_leave_or_may_be_there(
    kept: list[Thing], weather: Weather, today: date
) -> None:
    leaving = removals([held(x) for x in kept], weather, today)
    assert len({row.thing for row in leaving}) == len(leaving)
    for thing in kept:
        row = next((row for row in leaving if row.thing == thing), None)
        assert (row is None) is may_return(thing, weather, today)
        if row is not None:
            assert row.why
            assert sum(x.count for x in row.units) == 2
            assert row.begun is (row.stretch.first <= today <= row.stretch.last)
    assert [row.stretch.first for row in leaving] == sorted(row.stretch.first for row in leaving)


@given(things, weathers, days)
def test_what_leaves_in_time_is_never_in_its_weather_and_comes_back_once_a_stretch(
    thing: Thing, weather: Weather, today: date
) -> None:
    bad = frozenset().union(*threats(thing, weather).values())
    inside = may_return(thing, weather, today)
    swaps = 0
    for day in (today + n * DAY for n in range(366)):
        now = may_return(thing, weather, day)
        swaps, inside = swaps + (now is not inside), now
        assert not (inside and day.month in bad)
    assert swaps <= 2 * 6 + 1


def test_what_is_not_counted_is_named_without_units() -> None:
    (row,) = removals([], VAN, date(2026, 12, 5), uncounted=[GEL, ANYTHING])
    assert (row.thing, row.units, row.why, row.begun) == (GEL, (), (Threat.FROST,), True)


def test_two_kinds_of_weather_one_after_the_other_are_one_time_away() -> None:
    thing = replace(GEL, keep_dry=True)
    weather = replace(VAN, wet=frozenset({3, 4}))
    (row,) = removals([held(thing)], weather, date(2026, 11, 10))
    assert (row.stretch.first, row.stretch.last) == (date(2026, 12, 1), date(2027, 4, 30))
    assert row.why == (Threat.FROST, Threat.WET)


# ---- the note beside a verdict
def test_a_kit_at_a_location_is_noted_only_in_the_months_written_of_it() -> None:
    kit = replace(kit_of(some(GEL, 1)), weather=VAN)
    july, october = date(2028, 7, 1), date(2028, 10, 1)
    assert tuple(code for code, _ in codes(judge(kit, july, july)) if code == "heat") == ("heat",)
    noted = [code for code, _ in codes(judge(kit, october, october))]
    assert "frost" not in noted
    assert "heat" not in noted
    through = [code for code, _ in codes(judge(kit, date(2028, 12, 1), october))]
    assert "frost" in through


@given(weathers, days, days)
def test_notes_of_the_weather_never_get_fewer_the_longer_a_kit_is_judged(
    weather: Weather, first: date, last: date
) -> None:
    assume(first <= last)
    kit = replace(kit_of(some(GEL, 1)), weather=weather)

    def noted(through: date) -> set[str]:
        return {code for code, _ in codes(judge(kit, through, first))} & {"frost", "heat"}

    assert noted(first) <= noted(last)


@given(months)
def test_months_are_said_in_a_row_over_new_year(wanted: frozenset[int]) -> None:
    said = in_a_row(wanted)
    assert sorted(said) == sorted(wanted)
    if wanted and len(wanted) < 12:
        assert (said[0] - 2) % 12 + 1 not in wanted


def test_the_winter_begins_in_november() -> None:
    assert in_a_row([1, 2, 3, 11, 12]) == [11, 12, 1, 2, 3]
    assert in_a_row([1, 2, 7]) == [1, 2, 7]
    assert in_a_row([1, 6, 12]) == [6, 12, 1]


# ---- restocking
@given(things, weathers, days, st.integers(0, 3))
def test_restocking_puts_in_nothing_that_would_have_to_leave_again(
    thing: Thing, weather: Weather, today: date, on_shelf: int
) -> None:
    thing = replace(thing, needs_date=False)
    kit = replace(kit_of(lines=(Line(1, "front", thing, 2, 1),)), weather=weather)
    shelf = [Units(Batch(5, thing), "9", on_shelf)] if on_shelf else []
    plan = restock(kit, shelf, through=today, today=today)
    if may_return(thing, weather, today):
        assert plan.not_now == ()
        assert sum(row.count for row in plan.put_in) == min(2, on_shelf)
    else:
        assert (plan.put_in, plan.missing) == ((), ())
        assert [row.count for row in plan.not_now] == [2]
