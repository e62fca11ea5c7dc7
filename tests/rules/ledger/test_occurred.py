"""A claimed time is put right for the device's clock and kept within what can be."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, strategies as st

from kits.rules.ledger.occurred import ClaimError, Settled, settle

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
LONDON = ZoneInfo("Europe/London")

instants = st.integers(-(10**6), 10**6).map(lambda s: NOON + timedelta(seconds=s))
zones = st.sampled_from([UTC, LONDON, ZoneInfo("Australia/Lord_Howe"), timezone(-HOUR)])


def test_a_right_clock_is_believed() -> None:
    assert settle(NOON - HOUR, NOON, NOON, NOON - 3 * HOUR) == Settled(
        NOON - HOUR, 0, False, NOON - HOUR
    )


@pytest.mark.parametrize("ahead", [-400 * 24 * HOUR, -HOUR, 7 * HOUR, 9000 * 24 * HOUR])
def test_a_wrong_clock_is_put_right_and_told(ahead: timedelta) -> None:
    settled = settle(NOON - HOUR + ahead, NOON + ahead, NOON, None)
    assert settled == Settled(NOON - HOUR, int(ahead.total_seconds()), False, NOON - HOUR)


def test_nothing_happens_after_it_was_told() -> None:
    assert settle(NOON + HOUR, NOON, NOON, None) == Settled(NOON, 0, True, NOON)


def test_nothing_happens_before_the_kit_s_last_entry() -> None:
    last = NOON - HOUR
    assert settle(NOON - 2 * HOUR, NOON, NOON, last) == Settled(last, 0, True, last - HOUR)


def test_the_time_of_telling_holds_where_the_last_entry_is_later() -> None:
    assert settle(NOON - HOUR, NOON, NOON, NOON + HOUR) == Settled(NOON, 0, True, NOON - HOUR)


def test_without_a_claim_it_happened_when_it_was_told() -> None:
    assert settle(None, None, NOON, NOON - HOUR) == Settled(NOON, 0, False)
    assert settle(None, NOON + HOUR, NOON, None) == Settled(NOON, 3600, False)


def test_a_clock_that_is_not_told_is_trusted() -> None:
    assert settle(NOON - HOUR, None, NOON, None) == Settled(NOON - HOUR, 0, False, NOON - HOUR)


def test_an_hour_that_comes_twice_is_told_apart() -> None:
    first = datetime(2026, 10, 25, 1, 30, tzinfo=LONDON)
    second = first.replace(fold=1)
    received = datetime(2026, 10, 25, 2, tzinfo=UTC)
    assert settle(first, second, received, None).occurred_at == received - HOUR


def test_a_claim_made_before_the_clocks_went_forward_is_as_old_as_it_is() -> None:
    before = datetime(2027, 3, 28, 0, 30, tzinfo=LONDON)
    after = datetime(2027, 3, 28, 2, 30, tzinfo=LONDON)
    received = datetime(2027, 3, 28, 9, tzinfo=UTC)
    assert settle(before, after, received, None).occurred_at == received - HOUR


@given(instants, instants, instants, st.none() | instants, zones)
def test_it_lies_between_the_last_entry_and_the_telling(
    claimed: datetime,
    device_now: datetime,
    received: datetime,
    last: datetime | None,
    zone: timezone,
) -> None:
    settled = settle(claimed.astimezone(zone), device_now.astimezone(zone), received, last)
    assert settled == settle(claimed, device_now, received, last)
    assert settled.occurred_at <= received
    assert last is None or settled.occurred_at >= min(last, received)
    exact = received - (device_now - claimed)
    assert settled.clamped == (settled.occurred_at != exact)


@given(instants, instants, instants, st.integers(-(10**9), 10**9))
def test_how_the_device_s_clock_is_set_makes_no_difference(
    claimed: datetime, device_now: datetime, received: datetime, ahead: int
) -> None:
    shift = timedelta(seconds=ahead)
    one = settle(claimed, device_now, received, None)
    other = settle(claimed + shift, device_now + shift, received, None)
    assert (one.occurred_at, one.clamped) == (other.occurred_at, other.clamped)
    assert other.offset_seconds - one.offset_seconds == ahead


@pytest.mark.parametrize("year", [1, 9999])
def test_the_ends_of_the_calendar_do_no_harm(year: int) -> None:
    edge = datetime(year, 1, 1, tzinfo=UTC)
    assert settle(edge, NOON, NOON, None).occurred_at <= NOON
    assert settle(NOON, edge, NOON, NOON - HOUR).occurred_at in (NOON, NOON - HOUR)
    with pytest.raises(ClaimError, match="range"):
        settle(datetime(1, 1, 1, tzinfo=timezone(HOUR)), NOON, NOON, None)


def test_a_time_without_a_zone_is_refused_with_what_to_send() -> None:
    with pytest.raises(ClaimError, match="08:30:00Z"):
        settle(NOON.replace(tzinfo=None), NOON, NOON, None)
