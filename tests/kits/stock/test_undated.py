"""Dates rubbed off at set-up: one list to check, and a day of grace; never for medicines."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine

from gearroom.core import clock
from gearroom.core.acts import Invalid, NotAllowed, Refused
from gearroom.core.models import Person
from kits.models import Kit, Lot, PlaceKind
from kits.services.ledger import audit, readiness, verdicts
from kits.services.ledger.undo import reversal
from kits.services.stock import counting, reclassifying
from kits.services.stock.counting import CountLine
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def kit(w: make.World) -> Kit:
    """A kit whose contents are entered now: its six dressings have their dates rubbed off."""
    made = make.kit("DAY-09", w.version, w.store, entered=False)
    found(w, made, (make.batch(w.dressing), 6), (w.lots["shears"], 1))
    found(w, made, (w.lots["tablets"], 8), key="pouch")
    return make.fresh(made)


def found(w: make.World, kit: Kit, *rows: tuple[Lot, int], key: str = "main") -> None:
    place = make.section(kit, key)
    lines = [CountLine(place, units, lot=lot) for lot, units in rows]
    counting.count(make.act(w.keeper), [place], lines, complete=False)


def reasons(kit: Kit, ahead: int = 0) -> dict[Any, Any]:
    day = clock.today(kit.home_room.time_zone) + timedelta(days=ahead)
    return {r.code: r.weight.name for r in verdicts.verdict(make.fresh(kit), day).reasons}


def in_days(days: int) -> time_machine.travel:
    return time_machine.travel(clock.now() + timedelta(days=days), tick=False)


def test_it_counts_and_is_said_until_the_day_after_set_up_and_then_stops_the_kit(kit: Kit) -> None:
    assert reasons(kit)["date-not-known"] == "NOTE"
    assert not {"take-out", "short"} & set(reasons(kit))
    assert make.fresh(kit).clear_until == make.days(1)
    with in_days(1):
        assert "take-out" not in reasons(kit)
    with in_days(2):
        assert reasons(kit)["take-out"] == "STOPS"
        assert readiness.days_now(make.fresh(kit)).may_go_until is None
        assert list(audit.findings()) == []
    assert list(audit.findings()) == []


def test_a_trip_that_ends_later_cannot_count_on_it(kit: Kit) -> None:
    assert reasons(kit, 1).get("short") is None
    assert reasons(kit, 2)["short"] == "STOPS"


def test_what_a_later_count_finds_without_a_date_stops_the_kit_at_once(
    w: make.World, kit: Kit
) -> None:
    with in_days(3):
        found(w, kit, (make.batch(w.dressing), 7))
        assert reasons(kit)["take-out"] == "STOPS"


def test_a_medicine_without_a_date_stops_it_from_the_first_hour(w: make.World, kit: Kit) -> None:
    found(w, kit, (make.batch(w.tablets), 8), key="pouch")
    assert reasons(kit)["take-out"] == "STOPS"
    assert make.fresh(kit).may_go_until is None


def test_the_grace_goes_with_the_act_that_gave_it(w: make.World) -> None:
    made = make.kit("DAY-09", w.version, w.store, entered=False)
    with time_machine.travel(clock.now() - timedelta(days=5), tick=False):
        found(w, made, (w.lots["shears"], 1))
    first = made.entries.latest("id")
    found(w, made, (make.batch(w.dressing), 6))
    assert reasons(made)["take-out"] == "STOPS"
    reversal.reverse(make.act(w.keeper), first.pk)
    assert "take-out" not in reasons(made)
    assert list(audit.findings()) == []


# ------------------------------------------------------------------------------- the list to check
def test_one_list_has_what_stops_a_kit_first_then_what_will_then_what_is_worth_a_look(
    w: make.World, kit: Kit
) -> None:
    found(w, kit, (make.batch(w.tablets), 8), key="pouch")
    wipes = make.item("Wipes")
    make.some(wipes, w.shelf, 3)
    make.some(w.dressing, w.upper, 2, "RUBBED")
    rows = reclassifying.to_check(w.store)
    assert [(r.place.name, r.lot.item.name, r.units, r.stops, r.until) for r in rows] == [
        ("Pouch", w.tablets.name, 8, True, None),
        ("C3", w.dressing.name, 2, True, None),
        ("Main", w.dressing.name, 6, False, make.days(1)),
        ("C2", "Wipes", 3, False, None),
    ]
    assert reclassifying.to_check(w.hut) == []
    assert reclassifying.to_check(w.store, make.actor(w.stranger)) == []
    with in_days(2):
        assert [r.stops for r in reclassifying.to_check(w.store) if r.place.kit] == [True, True]


def test_a_date_that_is_read_is_of_those_units_alone(w: make.World, kit: Kit) -> None:
    main, rubbed = make.section(kit), make.batch(w.dressing)
    entry = reclassifying.record_date(
        make.act(w.guide), place=main, lot=rubbed, units=4, expiry=make.days(300), number=" x7 "
    )
    read = make.batch(w.dressing, "X7", make.days(300))
    assert (make.units(rubbed, main), make.units(read, main)) == (2, 4)
    assert [row.units for row in reclassifying.to_check(w.store)] == [2]
    assert {m.to_place.kind for m in entry.movements.all()} == {
        PlaceKind.RECLASSIFIED,
        PlaceKind.SECTION,
    }
    assert make.fresh(kit).first_expiry == make.days(300)
    reversal.reverse(make.act(w.keeper), entry.pk)
    assert make.units(rubbed, main) == 6
    assert list(audit.findings()) == []


def test_a_date_is_read_on_a_shelf_too(w: make.World) -> None:
    rubbed = make.some(w.dressing, w.shelf, 3, "RUBBED")
    reclassifying.record_date(
        make.act(w.keeper), place=w.shelf, lot=rubbed, units=3, expiry=make.days(90)
    )
    assert make.units(make.batch(w.dressing, "RUBBED", make.days(90)), w.shelf) == 3
    assert reclassifying.to_check(w.store) == []


def test_it_refuses_what_cannot_be(w: make.World, kit: Kit) -> None:
    main, rubbed = make.section(kit), make.batch(w.dressing)

    good = make.days(90)

    def read(
        who: Person = w.keeper, lot: Lot = rubbed, units: int = 1, expiry: date | None = good
    ) -> None:
        reclassifying.record_date(make.act(who), place=main, lot=lot, units=units, expiry=expiry)

    with pytest.raises(Invalid):
        read(expiry=None)
    with pytest.raises(Invalid):
        read(expiry=make.days(365 * 200))
    with pytest.raises(Invalid):
        read(lot=w.dressings)
    with pytest.raises(Refused) as problem:
        read(units=7)
    assert problem.value.code == "not-enough"
    with pytest.raises(NotAllowed):
        read(who=w.stranger)
    assert make.units(rubbed, main) == 6
