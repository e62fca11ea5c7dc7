"""Trips and the kits promised to them."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, strategies as st

from gearroom.core.rules.sentences import InvalidValue
from kits.rules.ledger.facts import KitState, LivesIn, Reason, TripNeeds, Verdict, Weight
from kits.rules.trips.trips import (
    Coverage,
    KitOfTrip,
    Promise,
    Stand,
    Whereabouts,
    check_days,
    coverage,
    due_without_trip,
    ended,
    goes_out_for,
    in_the_way,
    next_promise,
    ready_through,
    whereabouts,
)

TODAY = date(2028, 2, 28)
DAY = timedelta(days=1)
GIL, INES = 1, 2
days = st.integers(-4, 6).map(lambda n: TODAY + n * DAY)
promises = st.builds(
    lambda first, length, ident, kit, trip, guide, taken: Promise(
        first, first + length * DAY, ident, kit, trip, guide, taken
    ),
    days,
    st.integers(0, 3),
    st.integers(1, 10**6),
    st.integers(1, 2),
    st.integers(1, 4),
    st.sampled_from([None, GIL, INES]),
    st.booleans(),
)

several = st.lists(promises, max_size=6, unique_by=lambda p: p.id)


def promise(
    first: int, last: int, ident: int = 1, kit: int = 1, trip: int = 0, guide: int | None = None
) -> Promise:
    return Promise(TODAY + first * DAY, TODAY + last * DAY, ident, kit, trip or ident, guide)


def test_a_trip_may_end_on_the_day_it_begins_but_not_before() -> None:
    check_days(TODAY, TODAY)
    with pytest.raises(InvalidValue, match="27 February 2028, before it begins on 28 February"):
        check_days(TODAY, TODAY - DAY)


# ----------------------------------------------------------------------------------- promises
@given(several, days, st.sampled_from([None, GIL, INES]))
def test_a_kit_goes_out_for_no_trip_that_is_another_s_or_begins_after_tomorrow(
    some: list[Promise], today: date, taker: int | None
) -> None:
    found = goes_out_for(some, 1, today, taker)
    fitting = [
        p
        for p in some
        if p.kit == 1
        and not p.taken
        and p.first_day <= today + DAY
        and (taker is None or p.guide in (None, taker))
    ]
    assert found == (sorted(fitting)[0] if fitting else None)


def test_a_kit_promised_in_ninety_days_goes_out_for_none() -> None:
    assert goes_out_for([promise(90, 95, guide=GIL)], 1, TODAY, GIL) is None
    assert goes_out_for([promise(1, 5, guide=GIL)], 1, TODAY, GIL) == promise(1, 5, guide=GIL)
    assert goes_out_for([promise(0, 0, guide=INES)], 1, TODAY, GIL) is None
    assert goes_out_for([promise(0, 0, guide=INES)], 1, TODAY, None) is not None


@given(
    several,
    st.none() | st.integers(0, 4),
    st.sampled_from([None, GIL, INES]),
    st.integers(0, 3),
    st.none() | st.integers(1, 4),
)
def test_only_a_promise_to_another_from_today_to_the_last_night_of_sorting_is_in_the_way(
    some: list[Promise],
    due: int | None,
    taker: int | None,
    nights: int,
    trip: int | None,
) -> None:
    due_day = None if due is None else TODAY + due * DAY
    found = in_the_way(some, 1, TODAY, due_day, taker, nights=nights, going_for=trip)
    away = {TODAY + n * DAY for n in range((due or 0) + nights + 1)}
    assert list(found) == sorted(found)
    for p in some:
        its = {p.first_day + n * DAY for n in range((p.last_day - p.first_day).days + 1)}
        others = p.guide is None or p.guide != taker
        wanted = p.kit == 1 and not p.taken and p.trip != trip and others and bool(its & away)
        assert (p in found) == wanted


@given(several)
def test_a_kit_s_next_promise_is_the_first_that_it_is_not_out_for(some: list[Promise]) -> None:
    waiting = [p for p in some if p.kit == 1 and not p.taken]
    assert next_promise(some, 1) == (sorted(waiting)[0] if waiting else None)


def at(day: int, hour: int) -> datetime:
    return datetime(2028, 2, 28, hour, tzinfo=UTC) + day * DAY


@pytest.mark.parametrize(
    ("now", "back", "over"),
    [
        (at(2, 16), None, False),
        (at(2, 17), None, True),
        (at(1, 12), at(1, 12), False),  # a day early: its promise stands again
        (at(2, 12), at(2, 12), True),
        (at(2, 12), at(0, 7), False),
    ],
)
def test_a_promise_ends_with_its_trip_or_handed_back_on_the_last_day(
    now: datetime, back: datetime | None, over: bool
) -> None:
    last = TODAY + 2 * DAY
    told = {"back_at": back, "back_on": back.date() if back else None}
    assert ended(at(0, 8), at(2, 17), last, now, **told) is over  # type: ignore[arg-type]
    assert ended(at(0, 8), at(2, 17), last, now, cancelled=True)


def test_a_kit_handed_back_before_a_day_trip_departs_has_still_to_go() -> None:
    back = {"back_at": at(0, 7), "back_on": TODAY}
    assert not ended(at(0, 8), at(0, 17), TODAY, at(0, 9), **back)  # type: ignore[arg-type]


# ----------------------------------------------------------------------------------- when due
@pytest.mark.parametrize(
    ("taken", "due"),
    [
        ((28, 8, 0), (28, 18, 0)),
        ((28, 15, 0), (28, 18, 0)),
        ((28, 15, 1), (29, 18, 0)),
        ((28, 23, 59), (29, 18, 0)),
    ],
)
def test_without_a_trip_a_kit_is_due_when_the_room_closes(
    taken: tuple[int, int, int], due: tuple[int, int, int]
) -> None:
    zone = ZoneInfo("Pacific/Auckland")
    now = datetime(2028, 2, *taken, tzinfo=zone)
    wanted = datetime(2028, 2, *due, tzinfo=zone)
    assert due_without_trip(now, time(18), LivesIn.STORE) == wanted
    assert due_without_trip(now, time(18), LivesIn.VEHICLE) is None


@given(st.integers(0, 60 * 24 - 1), st.times())
def test_a_kit_is_never_due_before_it_was_taken(minute: int, closing: time) -> None:
    taken = datetime(2028, 2, 28, tzinfo=UTC) + timedelta(minutes=minute)
    due = due_without_trip(taken, closing.replace(tzinfo=None), LivesIn.HUT)
    assert due is not None
    assert taken < due < taken + 2 * DAY


# ----------------------------------------------------------------------------------- coverage
NEEDS = TripNeeds(8, TODAY + 2 * DAY, TODAY + 3 * DAY)
FIT = Verdict(NEEDS.last_day)
SHORT = Verdict(NEEDS.last_day, (Reason("short", Weight.SHORT),))


def kit(ident: int = 1, people: int = 10, **how: object) -> KitOfTrip:
    state = KitState(ident, f"DAY-{ident:02}", (), (), serves_people=people, serves_days=7)
    return KitOfTrip(state, how.pop("alone", FIT), **how)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("how", "stand", "wanted"),
    [
        ({}, Stand.READY, Coverage.COVERED),
        ({"alone": SHORT}, Stand.NOT_FIT, Coverage.UNCOVERED),
        ({"alone": SHORT, "on_it": True}, Stand.OUT_ON_IT, Coverage.COVERED),
        ({"elsewhere": True, "due_day": TODAY + DAY}, Stand.COMING, Coverage.WAITING),
        ({"elsewhere": True, "due_day": TODAY + 2 * DAY}, Stand.AWAY, Coverage.UNCOVERED),
        (
            {"elsewhere": True, "due_day": TODAY + DAY, "nights": 2},
            Stand.AWAY,
            Coverage.UNCOVERED,
        ),
        (
            {"elsewhere": True, "due_day": TODAY, "overdue": True},
            Stand.AWAY,
            Coverage.UNCOVERED,
        ),
        ({"elsewhere": True}, Stand.AWAY, Coverage.UNCOVERED),
    ],
)
def test_before_it_departs_a_trip_is_covered_by_what_is_ready_or_out_on_it(
    how: dict[str, object], stand: Stand, wanted: Coverage
) -> None:
    found = coverage(NEEDS, [kit(**how)], departed=False)  # type: ignore[arg-type]
    assert (found.stands[1], found.coverage) == (stand, wanted)


def test_once_departed_only_what_is_out_on_it_counts() -> None:
    home, out = kit(1), kit(2, on_it=True)
    assert coverage(NEEDS, [home], departed=True).coverage == Coverage.UNCOVERED
    found = coverage(NEEDS, [home, out], departed=True)
    assert found.coverage == Coverage.COVERED
    assert found.stands == {1: Stand.STAYED, 2: Stand.OUT_ON_IT}
    assert coverage(NEEDS, [home, kit(2, people=4, on_it=True)], departed=True).lacking


def test_a_trip_without_kits_or_with_too_few_is_uncovered() -> None:
    assert coverage(NEEDS, [], departed=False).coverage == Coverage.UNCOVERED
    assert coverage(NEEDS, [kit(people=7)], departed=False).coverage == Coverage.UNCOVERED
    assert coverage(NEEDS, [kit(1, 4), kit(2, 4)], departed=False).coverage == Coverage.COVERED


hows = st.fixed_dictionaries(
    {
        "alone": st.sampled_from([FIT, SHORT]),
        "on_it": st.booleans(),
        "elsewhere": st.booleans(),
        "due_day": st.none() | st.integers(-2, 4).map(lambda n: TODAY + n * DAY),
        "overdue": st.booleans(),
        "nights": st.integers(0, 2),
        "people": st.integers(0, 9),
    }
)


@given(st.lists(hows, max_size=4), st.booleans())
def test_a_trip_is_green_only_where_every_kit_of_it_is_ready_or_out_on_it(
    some: list[dict[str, object]], departed: bool
) -> None:
    kits = [kit(n, **how) for n, how in enumerate(some, 1)]  # type: ignore[arg-type]
    found = coverage(NEEDS, kits, departed=departed)
    out = [k for k in kits if k.on_it]
    if departed:
        covered = bool(out) and sum(k.state.serves_people for k in out) >= NEEDS.people
    else:
        standing = all(k.on_it or (k.alone.fit and not k.elsewhere) for k in kits)
        served = sum(k.state.serves_people for k in kits) >= NEEDS.people
        covered = bool(kits) and standing and served
    assert (found.coverage is Coverage.COVERED) == covered
    worse = [replace(k, alone=SHORT, on_it=False) for k in kits]
    assert coverage(NEEDS, worse, departed=departed).coverage is not Coverage.COVERED


# ------------------------------------------------------------------------- where its kits are
@pytest.mark.parametrize(
    ("stands", "wanted"),
    [
        ([], Whereabouts()),
        ([None], Whereabouts()),
        ([Stand.READY, Stand.NOT_FIT, Stand.COMING, Stand.AWAY], Whereabouts(waiting=4)),
        ([Stand.OUT_ON_IT, Stand.READY], Whereabouts(waiting=1, out=1)),
        ([Stand.OUT_ON_IT, Stand.STAYED], Whereabouts(stayed=1, out=1)),
        ([Stand.OUT_ON_IT, Stand.BACK, None], Whereabouts(out=1, back=1)),
    ],
)
def test_where_the_kits_of_a_trip_are_is_counted(
    stands: list[Stand | None], wanted: Whereabouts
) -> None:
    assert whereabouts(stands) == wanted


def test_all_have_gone_only_where_none_waits_or_stayed() -> None:
    assert Whereabouts(out=1, back=1).all_gone
    assert not Whereabouts().all_gone
    assert not Whereabouts(waiting=1, out=1).all_gone
    assert not Whereabouts(stayed=1, out=1).all_gone


# --------------------------------------------------------------------- how long it is to be ready
LATER = TODAY + 28 * DAY


@pytest.mark.parametrize(
    ("some", "wanted"),
    [
        ([], LATER),
        ([(1, 2, False)], TODAY + 2 * DAY),
        ([(0, 0, True)], LATER),  # back before it left, and may go again
        ([(0, 40, True)], TODAY + 40 * DAY),  # back on the way of a long one
        ([(0, 0, True), (5, 6, False)], TODAY + 6 * DAY),
        ([(0, 9, True), (12, 12, False), (30, 40, False)], TODAY + 12 * DAY),
    ],
)
def test_a_kit_is_made_ready_for_its_next_trip_not_for_the_one_it_came_back_from(
    some: list[tuple[int, int, bool]], wanted: date
) -> None:
    promises = [
        Promise(TODAY + first * DAY, TODAY + last * DAY, n, 1, n, returned=returned)
        for n, (first, last, returned) in enumerate(some, 1)
    ]
    other = Promise(TODAY, TODAY + 90 * DAY, 99, 2, 99)
    gone = Promise(TODAY, TODAY + 80 * DAY, 98, 1, 98, taken=True)
    assert ready_through([*promises, other, gone], 1, LATER) == wanted
