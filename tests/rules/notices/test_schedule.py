"""When the weekly email is due, around clock changes and midnight, in several zones."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, strategies as st

from kits.rules.notices.schedule import last_due, local_instant, next_due

LONDON, CHICAGO, LORD_HOWE = "Europe/London", "America/Chicago", "Australia/Lord_Howe"


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "day", "at", "instant"),
    [
        # forward: the time does not exist, so the first instant after the gap
        (LONDON, date(2027, 3, 28), time(1, 30), utc(2027, 3, 28, 1)),
        (CHICAGO, date(2027, 3, 14), time(2, 0), utc(2027, 3, 14, 8)),
        (LORD_HOWE, date(2026, 10, 4), time(2, 15), utc(2026, 10, 3, 15, 30)),
        # back: the time comes twice, so its first occurrence
        (LONDON, date(2027, 10, 31), time(1, 30), utc(2027, 10, 31, 0, 30)),
        (CHICAGO, date(2027, 11, 7), time(1, 0), utc(2027, 11, 7, 6)),
        (LORD_HOWE, date(2027, 4, 4), time(1, 45), utc(2027, 4, 3, 14, 45)),
        # beside the changes
        (LONDON, date(2027, 3, 28), time(0, 59), utc(2027, 3, 28, 0, 59)),
        (LONDON, date(2027, 3, 28), time(2, 0), utc(2027, 3, 28, 1)),
        (LONDON, date(2027, 3, 29), time(7), utc(2027, 3, 29, 6)),
    ],
)
def test_a_missing_time_is_the_first_after_the_gap_and_a_double_one_its_first(
    zone: str, day: date, at: time, instant: datetime
) -> None:
    assert local_instant(day, at, zone).astimezone(UTC) == instant


@pytest.mark.parametrize("zone", [LONDON, "Asia/Kathmandu", "Pacific/Auckland"])
def test_at_each_side_of_midnight_it_is_due_on_the_local_day(zone: str) -> None:
    here = ZoneInfo(zone)
    monday = datetime(2026, 11, 23, 0, 0, tzinfo=here)
    second = timedelta(seconds=1)
    assert next_due(monday - second, 0, time(0), zone) == monday
    assert last_due(monday, 0, time(0), zone) == monday
    assert last_due(monday - second, 0, time(0), zone) == monday - timedelta(weeks=1)
    sunday = datetime(2026, 11, 22, 23, 59, tzinfo=here)
    assert last_due(monday, 6, time(23, 59), zone) == sunday


zones = st.sampled_from([LONDON, CHICAGO, LORD_HOWE, "Asia/Kathmandu", "UTC"])
instants = st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1)).map(  # noqa: DTZ001
    lambda t: t.replace(tzinfo=UTC)
)


@given(instants, st.integers(0, 6), st.times(), zones)
def test_the_last_and_the_next_one_are_a_week_apart_around_any_moment(
    now: datetime, weekday: int, at: time, zone: str
) -> None:
    last, following = last_due(now, weekday, at, zone), next_due(now, weekday, at, zone)
    assert last.astimezone(UTC) <= now < following.astimezone(UTC)
    assert abs(following.astimezone(UTC) - last.astimezone(UTC) - timedelta(weeks=1)) <= timedelta(
        hours=2
    )


@given(instants, st.integers(0, 6), st.times(), zones)
def test_whenever_it_is_asked_within_a_week_the_same_one_is_the_last(
    now: datetime, weekday: int, at: time, zone: str
) -> None:
    last = last_due(now, weekday, at, zone)
    assert last_due(last, weekday, at, zone) == last
    just_before = next_due(now, weekday, at, zone) - timedelta(microseconds=1)
    assert last_due(just_before, weekday, at, zone) == last


def test_it_refuses_a_moment_without_its_zone_and_a_day_that_no_week_has() -> None:
    with pytest.raises(ValueError, match="offset"):
        last_due(datetime(2026, 1, 1), 0, time(7), LONDON)  # noqa: DTZ001
    with pytest.raises(ValueError, match="Monday"):
        next_due(utc(2026, 1, 1), 7, time(7), LONDON)
