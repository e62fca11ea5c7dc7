"""What stands in the weekly email, and in what order."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from kits.rules.ledger.facts import (
    Batch,
    Criticality,
    KitState,
    Line,
    Reason,
    Thing,
    Units,
    Verdict,
    Weight,
)
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.mail.digest import (
    Answer,
    Going,
    KitWeek,
    Low,
    Missing,
    by_urgency,
    departures,
    departures_not_ready,
    first_of_month,
    horizon,
    open_before,
    order_by,
    ready_through,
    to_order,
)
from kits.rules.restocking.shelves import Shelves, shelves_of
from kits.rules.trips.trips import Stand

MONDAY = date(2026, 11, 23)


def day(number: Any) -> date:
    return MONDAY + timedelta(days=number)


def going(first: int, last: Any = None) -> Going:
    at = datetime(2026, 11, 23, 9, tzinfo=UTC) + timedelta(days=first)
    return Going("Hill day", at, day(first), day(last or first), "Ines", "01632 960111", 8)


def answer(
    *reasons: Reason, first: int | None = None, through: Any = None, set_up: bool = True
) -> Answer:
    """How a kit stands: for a trip from a day, or for today."""
    last = through or day(13 if first is None else first)
    trip: dict[str, Any] = (
        {"trip": 1, "on": "Hill day", "going": going(first)} if first is not None else {}
    )
    return Answer(Verdict(last, reasons, set_up), **trip)


def kit(
    name: str, *reasons: Reason, first: int | None = None, fit_until: date | None = None
) -> KitWeek:
    answers = (answer(*reasons, first=first),) if reasons else ()
    return KitWeek(id=1, name=name, answers=answers, fit_until=fit_until)


SHORT = Reason(ReasonCode.SHORT, Weight.SHORT)
STOPS = Reason(ReasonCode.TAKE_OUT, Weight.STOPS)
LOOK = Reason(ReasonCode.NOT_LOOKED_INSIDE, Weight.SHORT)
LOW = Reason(ReasonCode.LOW, Weight.LOW)
EXPIRED = Reason(ReasonCode.EXPIRED_INSIDE, Weight.NOTE)


@pytest.mark.parametrize("offset", range(7))
def test_kits_are_judged_through_the_sunday_of_next_week(offset: Any) -> None:
    assert horizon(day(offset)) == day(13)
    assert horizon(day(offset)).weekday() == 6


def test_the_soonest_departure_not_ready_comes_first_and_a_low_one_not_at_all() -> None:
    kits = [kit("B", SHORT, first=4), kit("A", SHORT, first=2), kit("C", LOW, first=1)]
    assert [k.name for k in departures_not_ready(kits, MONDAY)] == ["A", "B"]
    assert len(departures(kits, MONDAY)) == 3


def test_a_kit_stands_once_by_the_first_departure_it_is_not_ready_for() -> None:
    own, later = answer(LOW, first=1), answer(SHORT, first=3)
    both = KitWeek(id=1, name="A", answers=(own, later, answer(STOPS, first=9)))
    assert departures_not_ready([both], MONDAY) == [both]
    assert both.going == later.going
    assert open_before(both, MONDAY) == day(3)
    assert ready_through(both, MONDAY) == day(9)
    assert [r.code for r in both.reasons] == [ReasonCode.TAKE_OUT, ReasonCode.SHORT]


def test_a_kit_that_is_ready_goes_by_its_next_departure_and_is_filled_for_four_weeks() -> None:
    fine = KitWeek(id=1, name="A", answers=(answer(first=2), answer(first=5)))
    assert fine.going == going(2)
    assert not fine.low and not fine.wrong
    assert ready_through(fine, MONDAY) == day(28)


def test_what_nobody_entered_is_neither_short_nor_low() -> None:
    empty = KitWeek(id=1, name="A", answers=(answer(first=1, set_up=False),))
    assert not empty.set_up
    assert not (empty.wrong or empty.low or empty.wants_opening)
    assert departures_not_ready([empty], MONDAY) == []


def test_a_kit_not_back_in_time_is_not_ready_and_is_no_work_and_one_in_time_is_neither() -> None:
    good = answer(first=2)
    away = KitWeek(id=1, name="A", answers=(replace(good, elsewhere=Stand.AWAY),))
    coming = KitWeek(id=1, name="B", answers=(replace(good, elsewhere=Stand.COMING),))
    assert departures_not_ready([away, coming], MONDAY) == [away]
    assert not (away.short or away.wants_opening or coming.wrong)


def test_what_is_out_of_date_and_stops_nothing_is_to_bin_and_makes_no_kit_short_or_low() -> None:
    wipes = kit("A", EXPIRED)
    assert [r.code for r in wipes.to_bin] == [ReasonCode.EXPIRED_INSIDE]
    assert not (wipes.wrong or wipes.low or wipes.wants_opening)


def test_a_kit_without_a_limit_is_opened_today_where_it_is_short() -> None:
    assert open_before(kit("A", SHORT, fit_until=date.max), MONDAY) == MONDAY


def test_a_departure_after_this_week_is_not_this_weeks() -> None:
    assert departures_not_ready([kit("A", SHORT, first=7)], MONDAY) == []
    assert len(departures_not_ready([kit("A", SHORT, first=6)], MONDAY)) == 1


def test_a_kit_is_opened_before_its_trip_or_before_it_goes_out_of_date_or_now() -> None:
    assert open_before(kit("A", SHORT, first=3), MONDAY) == day(3)
    assert open_before(kit("A", SHORT, fit_until=day(5)), MONDAY) == day(6)
    assert open_before(kit("A", SHORT), MONDAY) == MONDAY


def test_worst_first_by_when_then_by_whether_it_may_go_at_all() -> None:
    kits = [kit("A", SHORT), kit("B", STOPS), kit("C", SHORT, first=1)]
    assert [k.name for k in by_urgency(kits, MONDAY)] == ["B", "A", "C"]


def test_a_mere_look_is_no_kit_to_open() -> None:
    assert not kit("A", LOOK).wants_opening
    assert kit("A", LOOK, SHORT).wants_opening
    assert not kit("A", LOW).wants_opening
    assert kit("A", LOW).low


def test_the_lead_time_is_counted_back_and_what_has_passed_is_late() -> None:
    assert order_by(day(20), 14, MONDAY) == (day(6), False)
    assert order_by(day(14), 14, MONDAY) == (MONDAY, False)
    assert order_by(day(3), 14, MONDAY) == (MONDAY, True)


def test_a_thing_is_ordered_once_for_all_kits_and_the_shelf() -> None:
    missing = [Missing(1, "dressing", 2, "A", day(30)), Missing(1, "dressing", 1, "B", day(20))]
    (row,) = to_order(missing, [Low(1, "dressing", 3, 5)], {1: 14}, MONDAY)
    assert (row.units, row.by, row.kits, row.level) == (3 + 7, MONDAY, ("A", "B"), 5)


def test_orders_are_soonest_first() -> None:
    missing = [Missing(1, "late", 1, "A", day(60)), Missing(2, "soon", 1, "A", day(20))]
    assert [r.thing for r in to_order(missing, [], {1: 14, 2: 14}, MONDAY)] == ["soon", "late"]


def test_exactly_one_monday_a_month_is_its_first() -> None:
    mondays = [date(2026, m, d) for m in range(1, 13) for d in range(1, 29)]
    firsts = [d for d in mondays if d.weekday() == 0 and first_of_month(d)]
    assert len(firsts) == 12 == len({d.month for d in firsts})


def test_what_one_kit_gets_from_a_shelf_is_gone_for_the_next() -> None:
    thing = Thing(1, "dressing")
    line = Line(1, "main", thing, 2, 1, Criticality.IMPORTANT)
    shelves = Shelves(shelves_of([Units(Batch(7, thing, "D1", day(400)), "9", 3)]))
    states = [KitState(n, f"K{n}", (line,), ()) for n in (1, 2)]

    first, second = (shelves.settle(s, day(28), MONDAY) for s in states)

    assert [row.count for row in first.put_in] == [2]
    assert [row.count for row in second.put_in] == [1]
    assert [row.count for row in second.missing] == [1]


def test_a_thing_that_two_rooms_lack_is_ordered_for_each() -> None:
    missing = [Missing(1, "dressing", 2, "A", day(30), "Main store")]
    rows = to_order(missing, [Low(1, "dressing", 3, 5, "Cave hut")], {1: 14}, MONDAY)
    assert [(r.room, r.units) for r in rows] == [("Cave hut", 7), ("Main store", 2)]
