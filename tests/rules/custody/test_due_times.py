"""Until when a kit may be had: the times that are offered."""

from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from kits.rules.custody.due_times import Until, later

ZONE = ZoneInfo("Europe/London")
CLOSING = time(18)


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 11, day, hour, minute, tzinfo=ZONE)


def offered(now: datetime, **more: datetime) -> list[Any]:
    return [(each.until, each.at) for each in later(now, CLOSING, **more)]


@pytest.mark.parametrize(
    ("now", "times"),
    [
        (at(27, 9), [(Until.TONIGHT, at(27, 18)), (Until.TOMORROW_EVENING, at(28, 18))]),
        (at(27, 18), [(Until.TOMORROW_EVENING, at(28, 18))]),
        (at(27, 23, 59), [(Until.TOMORROW_EVENING, at(28, 18))]),
    ],
)
def test_a_kit_may_be_had_until_an_evening_still_to_come(
    now: datetime, times: list[tuple[Until, datetime]]
) -> None:
    assert offered(now) == times


def test_a_trip_gets_longer_and_never_shorter() -> None:
    assert offered(at(27, 9), longer_than=at(29, 17)) == [
        (Until.EVENING, at(29, 18)),
        (Until.TWO_HOURS, at(29, 19)),
        (Until.EVENING, at(30, 18)),
    ]


def test_a_trip_that_is_late_gets_longer_from_now() -> None:
    assert offered(at(27, 19), longer_than=at(27, 17)) == [
        (Until.TWO_HOURS, at(27, 21)),
        (Until.TOMORROW_EVENING, at(28, 18)),
    ]


def test_two_hours_are_two_hours_where_the_clock_goes_back() -> None:
    (longer, *_) = later(
        datetime(2026, 10, 25, 0, 30, tzinfo=ZONE),
        time(0),
        longer_than=datetime(2026, 10, 25, 0, 30, tzinfo=ZONE),
    )
    assert longer.at.utcoffset() is not None
    assert f"{longer.at:%H:%M}" == "01:30"
