"""Until when a pack is good: what opening does, what a day asks."""

import calendar
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, strategies as st

from gearroom.core import clock
from kits.rules.ledger.expiry import (
    check_fault,
    date_known,
    good_through,
    last_good_day,
    may_be_put_in,
    usable_through,
    usable_until,
    why_not,
)
from kits.rules.ledger.facts import Batch, Kind, Thing
from kits.rules.ledger.reasons import ReasonCode

TODAY = date(2026, 11, 25)
MONTH_END = date(2027, 5, 31)
NEAR = st.dates(date(1990, 1, 1), date(2060, 12, 31))

GAUZE = Thing(1, "gauze swab", sterile=True)
WIPE = Thing(2, "wipe")
SHEARS = Thing(3, "shears", kind=Kind.TOOL, needs_date=False)
TABLET = Thing(4, "tablet", kind=Kind.MEDICINE)
EYE_WASH = Thing(5, "eye wash", opened_life_days=28)
TORCH = Thing(6, "torch", kind=Kind.INSTRUMENT, needs_date=False, check_question="Light on?")


# ---- what a batch allows


@given(st.none() | NEAR, st.none() | NEAR, st.none() | st.integers(0, 20_000) | st.just(10**9))
def test_good_through_is_the_sooner_of_the_printed_date_and_the_opened_life(
    expiry: date | None, opened_on: date | None, life: int | None
) -> None:
    batch = Batch(1, Thing(1, "salve", opened_life_days=life), expiry=expiry, opened_on=opened_on)
    limits = [] if expiry is None else [expiry]
    if opened_on is not None and life is not None and life < 10**9:
        limits.append(opened_on + timedelta(days=life))
    assert good_through(batch) == min(limits, default=None)


def test_needing_no_date_and_not_knowing_it_are_different() -> None:
    shears, wipes = Batch(1, SHEARS), Batch(2, WIPE)
    assert good_through(shears) is None and good_through(wipes) is None
    assert date_known(shears) and not date_known(wipes)


@pytest.mark.parametrize("thing", [GAUZE, TABLET])
def test_sterile_things_and_medicines_without_a_known_date_never_count(thing: Thing) -> None:
    undated = Batch(1, thing)
    assert why_not(undated, TODAY) is ReasonCode.DATE_NOT_KNOWN
    assert may_be_put_in(undated, TODAY) is ReasonCode.DATE_NOT_KNOWN
    assert usable_until(undated) is None
    assert usable_through(replace(undated, expiry=TODAY), TODAY)


def test_other_things_without_a_known_date_count() -> None:
    assert usable_through(Batch(1, WIPE), TODAY)
    assert may_be_put_in(Batch(1, WIPE), TODAY) is None


def test_it_is_good_through_its_last_day_and_not_the_next() -> None:
    batch = Batch(1, GAUZE, expiry=TODAY)
    assert why_not(batch, TODAY) is None
    assert why_not(batch, TODAY + timedelta(days=1)) is ReasonCode.EXPIRED
    assert may_be_put_in(batch, TODAY) is None
    assert may_be_put_in(batch, TODAY + timedelta(days=1)) is ReasonCode.EXPIRED


def test_an_opened_pack_counts_for_its_opened_life() -> None:
    bottle = Batch(1, EYE_WASH, expiry=date(2029, 1, 1), opened_on=TODAY)
    assert usable_through(bottle, TODAY + timedelta(days=28))
    late = TODAY + timedelta(days=29)
    assert why_not(bottle, late) is ReasonCode.OPENED_TOO_LONG
    assert may_be_put_in(bottle, late) is ReasonCode.OPENED_TOO_LONG


def test_an_instrument_counts_only_while_its_question_is_answered_and_no_check_is_due() -> None:
    unasked = Batch(1, TORCH)
    assert why_not(unasked, TODAY) is ReasonCode.CHECK_NOT_ANSWERED
    assert why_not(replace(unasked, check_passed=False), TODAY) is ReasonCode.CHECK_FAILED
    passed = replace(unasked, check_passed=True, check_due=TODAY)
    assert usable_through(passed, TODAY)
    assert why_not(passed, TODAY + timedelta(days=1)) is ReasonCode.CHECK_DUE
    assert usable_until(replace(passed, check_due=None)) == date.max


def test_why_an_instrument_wants_its_check_is_said_though_it_is_on_hold_for_it() -> None:
    torch = Batch(1, TORCH, withheld=True)
    tomorrow = TODAY + timedelta(days=1)
    passed = replace(torch, check_passed=True, check_due=TODAY)
    assert check_fault(torch, TODAY) is ReasonCode.CHECK_NOT_ANSWERED
    assert check_fault(replace(torch, check_passed=False), TODAY) is ReasonCode.CHECK_FAILED
    assert check_fault(passed, TODAY) is None
    assert check_fault(passed, tomorrow) is ReasonCode.CHECK_DUE
    assert check_fault(Batch(2, GAUZE), TODAY) is None


def test_an_instrument_may_go_in_to_be_checked_there_but_not_after_it_failed() -> None:
    assert may_be_put_in(Batch(1, TORCH), TODAY) is None
    assert may_be_put_in(Batch(1, TORCH, check_passed=False), TODAY) is ReasonCode.CHECK_FAILED


def test_it_never_lets_a_recalled_withheld_or_training_unit_in() -> None:
    good = Batch(1, GAUZE, expiry=date(2028, 1, 1))
    assert may_be_put_in(replace(good, recalled=True), TODAY) is ReasonCode.RECALLED
    assert may_be_put_in(replace(good, withheld=True), TODAY) is ReasonCode.WITHHELD
    assert may_be_put_in(good, TODAY, training_stock=True) is ReasonCode.TRAINING_STOCK


def test_a_medicine_goes_in_only_where_a_signed_list_asks_for_it() -> None:
    tablets = Batch(1, TABLET, expiry=date(2028, 1, 1))
    assert may_be_put_in(tablets, TODAY) is None
    assert may_be_put_in(tablets, TODAY, list_signed=False) is ReasonCode.UNSIGNED_MEDICINE
    gauze = Batch(2, GAUZE, expiry=date(2028, 1, 1))
    assert may_be_put_in(gauze, TODAY, list_signed=False) is None


batches = st.builds(
    Batch,
    id=st.just(1),
    thing=st.sampled_from([GAUZE, WIPE, SHEARS, TABLET, EYE_WASH, TORCH]),
    expiry=st.none() | NEAR,
    opened_on=st.none() | NEAR,
    recalled=st.booleans(),
    withheld=st.booleans(),
    check_due=st.none() | NEAR,
    check_passed=st.none() | st.booleans(),
)


@given(batches, NEAR)
def test_usable_until_is_the_last_day_through_which_it_is_usable(batch: Batch, day: date) -> None:
    until = usable_until(batch)
    assert usable_through(batch, day) == (until is not None and day <= until)


@given(batches, NEAR)
def test_what_counts_today_may_be_put_in_today(batch: Batch, day: date) -> None:
    if usable_through(batch, day):
        assert may_be_put_in(batch, day) is None


# ---- today

ZONES = st.sampled_from(
    [
        *("Europe/London", "America/St_Johns", "Australia/Lord_Howe", "Pacific/Apia"),
        *("Pacific/Kiritimati", "Asia/Kathmandu", "America/Santiago", "Africa/Cairo", "UTC"),
    ]
).map(ZoneInfo)


@given(st.integers(0, 2**31).map(lambda s: datetime.fromtimestamp(s, UTC)), ZONES)
def test_today_is_the_room_s_and_turns_at_its_own_midnight(
    instant: datetime, zone: ZoneInfo
) -> None:
    today = clock.local_date(instant, str(zone))
    assert abs(today - instant.date()) <= timedelta(days=1)
    assert clock.local_date(instant + timedelta(hours=23), str(zone)) >= today
    wall = instant.astimezone(zone)
    assert (wall.date(), clock.local_date(wall, str(zone))) == (today, today)


@pytest.mark.parametrize(
    ("instant", "zone", "day"),
    [
        # the hour that comes twice in October, and the one that never comes in March
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "Europe/London", date(2026, 10, 25)),
        (datetime(2026, 10, 24, 22, 59, tzinfo=UTC), "Europe/London", date(2026, 10, 24)),
        (datetime(2026, 10, 24, 23, 0, tzinfo=UTC), "Europe/London", date(2026, 10, 25)),
        (datetime(2027, 3, 28, 23, 0, tzinfo=UTC), "Europe/London", date(2027, 3, 29)),
        # midnight itself is skipped: the day starts at one
        (datetime(2026, 9, 6, 3, 59, tzinfo=UTC), "America/Santiago", date(2026, 9, 5)),
        (datetime(2026, 9, 6, 4, 0, tzinfo=UTC), "America/Santiago", date(2026, 9, 6)),
        # a whole day is skipped
        (datetime(2011, 12, 30, 9, 59, tzinfo=UTC), "Pacific/Apia", date(2011, 12, 29)),
        (datetime(2011, 12, 30, 10, 0, tzinfo=UTC), "Pacific/Apia", date(2011, 12, 31)),
        (datetime(2028, 2, 29, 23, 59, tzinfo=UTC), "UTC", date(2028, 2, 29)),
        (datetime(2027, 2, 28, 23, 59, tzinfo=UTC), "Asia/Kathmandu", date(2027, 3, 1)),
    ],
)
def test_today_around_midnights_and_clock_changes(instant: datetime, zone: str, day: date) -> None:
    assert clock.local_date(instant, zone) == day


def test_an_instant_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="aware"):
        clock.local_date(datetime(2026, 1, 1), "UTC")  # noqa: DTZ001 -- that is the point


@given(st.integers(1990, 2060), st.integers(1, 12), ZONES)
def test_a_pack_is_good_until_the_room_s_last_midnight_of_the_month(
    year: int, month: int, zone: ZoneInfo
) -> None:
    expiry = last_good_day(f"{year}-{month:02}", today=TODAY)
    batch = Batch(1, GAUZE, expiry=expiry)
    assert expiry.day == calendar.monthrange(year, month)[1]
    evening = datetime(year, month, expiry.day, 23, 59, tzinfo=zone)
    if evening.astimezone(UTC).astimezone(zone) == evening:  # Apia had no 30 December 2011
        assert usable_through(batch, clock.local_date(evening, str(zone)))
    next_day = expiry + timedelta(days=1)
    noon = datetime(next_day.year, next_day.month, next_day.day, 12, tzinfo=zone)
    assert not usable_through(batch, clock.local_date(noon, str(zone)))


@given(st.sampled_from(Kind), st.booleans())
def test_out_of_date_goes_into_training_kits_only_and_never_as_a_medicine(
    kind: Kind, training_kit: bool
) -> None:
    old = Batch(1, Thing(1, "x", kind), expiry=TODAY - timedelta(days=1), check_passed=True)
    fault = may_be_put_in(old, TODAY, training_kit=training_kit)
    assert (fault is None) == (training_kit and kind is not Kind.MEDICINE)
    recalled = replace(old, recalled=True)
    assert may_be_put_in(recalled, TODAY, training_kit=training_kit) is ReasonCode.RECALLED
