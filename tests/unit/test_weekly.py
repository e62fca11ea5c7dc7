"""What stands in the weekly email, and in what order."""

from datetime import UTC, date, datetime, timedelta

import pytest

from kits.rules.facts import (
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
from kits.rules.readiness import Why
from kits.rules.weekly import (
    Going,
    KitWeek,
    Low,
    Missing,
    Shelves,
    by_urgency,
    departures_not_fit,
    first_of_month,
    horizon,
    open_before,
    order_by,
    shelves_of,
    to_order,
)

MONDAY = date(2026, 11, 23)


def day(number):
    return MONDAY + timedelta(days=number)


def going(first, last=None):
    at = datetime(2026, 11, 23, 9, tzinfo=UTC) + timedelta(days=first)
    return Going("Hill day", at, day(first), day(last or first), "Ines", "01632 960111", 8)


def kit(name, *reasons, first=None, fit_until=None):
    verdict = Verdict(day(13), reasons) if reasons else None
    return KitWeek(
        id=1, name=name, through=day(13), going=going(first) if first is not None else None,
        verdict=verdict, fit_until=fit_until,
    )  # fmt: skip


SHORT = Reason(Why.SHORT, Weight.SHORT)
STOPS = Reason(Why.TAKE_OUT, Weight.STOPS)
LOOK = Reason(Why.NOT_LOOKED_INSIDE, Weight.SHORT)
NOTE = Reason(Why.LOW, Weight.LOW)


@pytest.mark.parametrize("offset", range(7))
def test_kits_are_judged_through_the_sunday_of_next_week(offset):
    assert horizon(day(offset)) == day(13)
    assert horizon(day(offset)).weekday() == 6


def test_the_soonest_departure_not_fit_comes_first_and_a_fit_one_not_at_all():
    kits = [kit("B", SHORT, first=4), kit("A", SHORT, first=2), kit("C", NOTE, first=1)]
    assert [k.name for k in departures_not_fit(kits, MONDAY)] == ["A", "B"]


def test_a_departure_after_this_week_is_not_this_weeks():
    assert departures_not_fit([kit("A", SHORT, first=7)], MONDAY) == []
    assert len(departures_not_fit([kit("A", SHORT, first=6)], MONDAY)) == 1


def test_a_kit_is_opened_before_its_trip_or_before_it_goes_out_of_date_or_now():
    assert open_before(kit("A", SHORT, first=3), MONDAY) == day(3)
    assert open_before(kit("A", SHORT, fit_until=day(5)), MONDAY) == day(6)
    assert open_before(kit("A", SHORT), MONDAY) == MONDAY


def test_worst_first_by_when_then_by_whether_it_may_go_at_all():
    kits = [kit("A", SHORT), kit("B", STOPS), kit("C", SHORT, first=1)]
    assert [k.name for k in by_urgency(kits, MONDAY)] == ["B", "A", "C"]


def test_a_mere_look_is_no_kit_to_open():
    assert not kit("A", LOOK).wants_opening
    assert kit("A", LOOK, SHORT).wants_opening
    assert not kit("A", NOTE).wants_opening


def test_the_lead_time_is_counted_back_and_what_has_passed_is_late():
    assert order_by(day(20), 14, MONDAY) == (day(6), False)
    assert order_by(day(14), 14, MONDAY) == (MONDAY, False)
    assert order_by(day(3), 14, MONDAY) == (MONDAY, True)


def test_a_thing_is_ordered_once_for_all_kits_and_the_shelf():
    missing = [Missing(1, "dressing", 2, "A", day(30)), Missing(1, "dressing", 1, "B", day(20))]
    (row,) = to_order(missing, [Low(1, "dressing", 3, 5)], {1: 14}, MONDAY)
    assert (row.units, row.by, row.kits, row.level) == (3 + 7, MONDAY, ("A", "B"), 5)


def test_orders_are_soonest_first():
    missing = [Missing(1, "late", 1, "A", day(60)), Missing(2, "soon", 1, "A", day(20))]
    assert [r.thing for r in to_order(missing, [], {1: 14, 2: 14}, MONDAY)] == ["soon", "late"]


def test_exactly_one_monday_a_month_is_its_first():
    mondays = [date(2026, m, d) for m in range(1, 13) for d in range(1, 29)]
    firsts = [d for d in mondays if d.weekday() == 0 and first_of_month(d)]
    assert len(firsts) == 12 == len({d.month for d in firsts})


def test_what_one_kit_gets_from_a_shelf_is_gone_for_the_next():
    thing = Thing(1, "dressing")
    line = Line(1, "main", thing, 2, 1, Criticality.IMPORTANT)
    shelves = Shelves(shelves_of([Units(Batch(7, thing, "D1", day(400)), "9", 3)]))
    states = [KitState(n, f"K{n}", (line,), ()) for n in (1, 2)]

    first, second = (shelves.settle(s, day(28), MONDAY) for s in states)

    assert [row.count for row in first.put_in] == [2]
    assert [row.count for row in second.put_in] == [1]
    assert [row.count for row in second.missing] == [1]
