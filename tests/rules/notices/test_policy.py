"""Who hears what when: at once, weekly or never; quiet hours; how long to wait after a failure."""

from datetime import UTC, datetime, time, timedelta

import pytest

from kits.rules.notices.policy import Policy, When, quiet_until, wait_after
from kits.services.notices.registry import NOTICE_KINDS, when_sent

ZONE = "Europe/London"


def at(hour: int, minute: int = 0, day: int = 25) -> datetime:
    return datetime(2026, 11, day, hour, minute, tzinfo=UTC)


def policy_of(kind: str) -> Policy:
    return NOTICE_KINDS[kind].policy


FIXED = ("recall", "cleared-by-phone", "not-cleared")


@pytest.mark.parametrize("kind", FIXED)
def test_a_recall_and_a_clearance_are_told_at_once_whatever_was_chosen(kind: str) -> None:
    assert when_sent(kind, {kind: When.NEVER}) is When.AT_ONCE


@pytest.mark.parametrize("kind", [k for k in NOTICE_KINDS if k not in FIXED])
def test_every_other_kind_may_be_chosen(kind: str) -> None:
    assert when_sent(kind, {kind: When.NEVER}) is When.NEVER


@pytest.mark.parametrize(
    ("now", "ends"),
    [
        (at(21, 59), None),
        (at(22), at(7, day=26)),
        (at(23, 59), at(7, day=26)),
        (at(0), at(7)),
        (at(6, 59), at(7)),
        (at(7), None),
    ],
)
def test_quiet_hours_over_midnight_end_in_the_morning(now: datetime, ends: datetime | None) -> None:
    assert quiet_until(policy_of("lost"), now, ZONE, time(22), time(7)) == ends


def test_quiet_hours_within_a_day_end_the_same_day() -> None:
    assert quiet_until(policy_of("lost"), at(13), ZONE, time(12), time(14)) == at(14)
    assert quiet_until(policy_of("lost"), at(14), ZONE, time(12), time(14)) is None


def test_a_recall_keeps_no_quiet_hours_and_none_set_are_none() -> None:
    assert quiet_until(policy_of("recall"), at(23), ZONE, time(22), time(7)) is None
    assert quiet_until(policy_of("lost"), at(23), ZONE, None, None) is None
    assert quiet_until(policy_of("lost"), at(23), ZONE, time(7), time(7)) is None


def test_waits_grow_from_a_minute_to_a_day() -> None:
    waits = [wait_after(n) for n in range(1, 20)]
    assert waits[0] == timedelta(minutes=1)
    assert waits == sorted(waits)
    assert waits[-1] == timedelta(days=1)
