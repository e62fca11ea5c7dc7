"""Instruments are checked in time, their question answered, and kept back when they fail."""

from datetime import date
from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from gearroom.core.models import Person
from kits.models import InstrumentCheck, Kit, Notice, Withholding
from kits.rules.ledger.facts import Criticality
from kits.services.ledger import audit, verdicts
from kits.services.stock import instruments
from tests.kits import factories as make
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def kit(w: make.World) -> Kit:
    """A kit that must carry the gauge, and has it inside."""
    version = make.kit_list(
        "Oxygen", {"main": [(w.gauge, 1, 1, Criticality.MUST_HAVE)]}, signed_by=w.adviser
    )
    made = make.kit("OX-01", version, w.store, responsible=w.instructor, deputy=w.guide)
    make.put_in(made, w.lots["gauge"], w.shelf, 1)
    return make.fresh(made)


def check(
    w: make.World, passed: bool = True, who: Person | None = None, **more: Any
) -> instruments.CheckResult:
    return instruments.check(make.act(who or w.guide), w.lots["gauge"], passed=passed, **more)


def may_go(kit: Kit, day: date | None = None) -> bool:
    return verdicts.verdict(make.fresh(kit), day or make.today()).may_go


def test_a_kit_goes_only_once_its_instrument_is_checked(w: make.World, kit: Kit) -> None:
    assert not may_go(kit)
    check(w)
    assert may_go(kit)


def test_the_next_check_is_due_after_its_interval_and_the_kit_good_until_then(
    w: make.World, kit: Kit
) -> None:
    done = check(w, answer="green")
    assert present(done.check).due_on == make.days(180)
    assert may_go(kit, make.days(180))
    assert not may_go(kit, make.days(181))
    assert make.fresh(kit).may_go_until == make.days(180)


def test_a_failed_check_stops_the_kit_and_keeps_the_instrument_back(
    w: make.World, kit: Kit
) -> None:
    check(w)
    check(w, passed=False, answer="in the red")
    assert not may_go(kit)
    kept = Withholding.objects.get(lot=w.lots["gauge"], released=None)
    assert kept.kind == "failed-check"


def test_a_failed_check_is_told_to_keepers_and_to_who_answers_for_the_kit(
    w: make.World, kit: Kit
) -> None:
    done = check(w, passed=False)
    told = {n.person for n in Notice.objects.filter(kind="failed-check", entry=done.entry)}
    assert told == {w.keeper, w.instructor, w.guide}


def test_a_failed_check_on_a_shelf_is_told_to_the_keepers_of_the_room(w: make.World) -> None:
    done = check(w, passed=False)
    assert [n.person for n in Notice.objects.filter(entry=done.entry)] == [w.keeper]


def test_failing_twice_keeps_it_back_once_and_passing_lets_it_go(w: make.World, kit: Kit) -> None:
    check(w, passed=False)
    check(w, passed=False)
    assert Withholding.objects.filter(lot=w.lots["gauge"], released=None).count() == 1
    check(w)
    assert not Withholding.objects.filter(released=None).exists()
    assert may_go(kit)


def test_the_next_check_may_be_due_when_the_maker_says(w: make.World, kit: Kit) -> None:
    assert present(check(w, due_on=make.days(30)).check).due_on == make.days(30)
    assert make.fresh(kit).may_go_until == make.days(30)


@pytest.mark.parametrize("due", [0, -1, 4000])
def test_a_next_check_that_cannot_be_is_refused(w: make.World, due: int) -> None:
    with pytest.raises(Invalid):
        check(w, due_on=make.days(due))


def test_a_check_of_last_week_counts_from_then(w: make.World, kit: Kit) -> None:
    assert present(check(w, checked_on=make.days(-7)).check).due_on == make.days(173)


def test_a_check_that_comes_after_a_later_one_is_written_and_changes_nothing(
    w: make.World, kit: Kit
) -> None:
    check(w)
    late = check(w, passed=False, checked_on=make.days(-7))
    assert late.check is None
    assert late.entry.irregular == ["checked-since"]
    assert InstrumentCheck.objects.count() == 1
    assert may_go(kit)


def test_a_check_of_tomorrow_is_refused(w: make.World) -> None:
    with pytest.raises(Invalid):
        check(w, checked_on=make.days(1))


def test_nothing_but_instruments_is_checked(w: make.World) -> None:
    with refused("not-an-instrument", 422):
        instruments.check(make.act(w.guide), w.lots["shears"], passed=True)


def test_only_people_of_the_room_check_its_instruments(w: make.World) -> None:
    for who in (w.stranger, w.adviser):
        with pytest.raises(NotAllowed):
            check(w, who=who)


def test_a_failed_instrument_is_not_put_into_another_kit(w: make.World) -> None:
    check(w, passed=False)
    with pytest.raises(Refused) as problem:
        make.put_in(w.day_02, w.lots["gauge"], w.shelf, 1)
    assert problem.value.code == "failed-check"


def test_the_book_is_in_balance_afterwards(w: make.World, kit: Kit) -> None:
    check(w)
    check(w, passed=False)
    assert list(audit.findings()) == []
