"""What was counted, sealed, checked or kept back, after an undo of what was before or since."""

import pytest

from kits.models import AsFound, Entry, Holding, LevelFact, Seal, WithheldKind, Withholding
from kits.rules.ledger.facts import Level
from kits.services.custody import use
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from kits.services.ledger import audit, readiness
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import holders
from kits.services.restocking import building, sealing, sorting
from kits.services.stock import counting, instruments
from kits.services.stock.counting import CountLine
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import act, fresh, section, units, world
from tests.kits.ledger.undo.undoing import back, listed, out, stands, together, undo

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return world()


# ------------------------------------------------------------------------------- units and counts
def test_what_a_count_found_stays_when_use_before_it_is_undone(school: make.World) -> None:
    place = section(school.day_01)
    used = use.log_use(act(school.keeper), school.day_01, [UseLine(school.dressing, 2)]).entry
    counting.count(
        act(school.keeper), [place], [CountLine(place, 3, lot=school.dressings)], complete=False
    )

    undo(school, used)

    assert units(school.dressings, place) == 3
    assert list(audit.findings()) == []
    again = sorting.restock(act(school.keeper), school.day_01).entry
    undo(school, again)
    assert units(school.dressings, place) == 3


def test_a_count_undone_after_use_before_it_was_undone_leaves_what_was_there_before(
    school: make.World,
) -> None:
    place = section(school.day_01)
    used = use.log_use(act(school.keeper), school.day_01, [UseLine(school.dressing, 2)]).entry
    counted = counting.count(
        act(school.keeper), [place], [CountLine(place, 3, lot=school.dressings)], complete=False
    ).entry

    undo(school, used)
    undo(school, counted)

    assert units(school.dressings, place) == 6
    assert list(audit.findings()) == []


def test_units_that_went_on_are_listed_and_brought_back(school: make.World) -> None:
    restocked = building.build(act(school.keeper), school.day_02).entry
    used = use.log_use(act(school.keeper), school.day_02, [UseLine(school.dressing, 5)]).entry

    found = listed(school, restocked)

    assert [row["entry"] for row in found["later"]] == [used.pk]
    together(school, restocked)
    assert not Holding.objects.filter(place__kit=school.day_02, units__gt=0).exists()
    assert list(audit.findings()) == []


# ------------------------------------------------------------------------------------------- seals
def test_a_hand_back_that_found_a_seal_whole_stays_without_the_sealing(school: make.World) -> None:
    """It is a report: what somebody saw stays what they saw."""
    sealed = sealing.reseal(act(school.keeper), school.day_01, "0417").put_on
    out(school)
    came = back(school, as_found=AsFound.SEALED)

    undo(school, sealed)

    assert not hasattr(Entry.objects.get(pk=came.pk), "reversed_by")
    assert holders.open_checkout(school.day_01) is None
    assert make.fresh(school.day_01).to_sort_since is None
    assert not Seal.objects.filter(broken=None).exists()
    assert list(audit.findings()) == []


def test_a_check_by_a_whole_seal_falls_with_the_sealing(school: make.World) -> None:
    sealed = sealing.reseal(act(school.keeper), school.day_01, "0417").put_on
    checked = sorting.seal_holds(act(school.keeper), school.day_01)

    found = listed(school, sealed)

    assert [row["entry"] for row in found["later"]] == [checked.pk]


def test_a_seal_put_on_in_place_of_another_gives_way_to_it_again(school: make.World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    second = sealing.reseal(act(school.keeper), school.day_01, "0418").put_on

    undo(school, second)

    assert Seal.objects.get(broken=None).number == "0417"
    assert list(audit.findings()) == []


def test_a_seal_stays_broken_where_something_else_opened_the_kit_too(school: make.World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    used = use.log_use(act(school.keeper), school.day_01, [UseLine(school.dressing, 1)]).entry
    sorting.look_inside(act(school.keeper), school.day_01)

    undo(school, used)

    assert not Seal.objects.filter(broken=None).exists()
    assert list(audit.findings()) == []


# ------------------------------------------------------------------- what is by eye, checked, kept
def test_what_was_judged_by_eye_is_known_no_better_than_before(school: make.World) -> None:
    place = section(school.day_02)
    seen = use.log_use(
        act(school.keeper),
        school.day_02,
        [],
        levels=[LooseLevel(place, school.plasters, Level.LOW)],
    ).entry

    undo(school, seen)

    assert readiness.states([school.day_02.pk])[school.day_02.pk].levels == {}
    assert LevelFact.objects.filter(entry=seen).exists()


def test_a_check_undone_keeps_the_instrument_back_no_longer(school: make.World) -> None:
    failed = instruments.check(act(school.keeper), school.lots["gauge"], passed=False).entry

    undo(school, failed)

    assert not Withholding.objects.filter(released=None).exists()
    known = readiness.batches([school.lots["gauge"]])[school.lots["gauge"].pk]
    assert known.check_passed is None
    assert list(audit.findings()) == []


def test_a_release_undone_after_it_was_kept_back_again_changes_nothing_else(
    school: make.World,
) -> None:
    holds.withhold(act(school.guide), school.day_01, WithheldKind.DRYING)
    let_go = holds.release(act(school.keeper), school.day_01, WithheldKind.DRYING)
    holds.withhold(act(school.guide), school.day_01, WithheldKind.DRYING)

    undo(school, let_go)

    assert school.day_01.withholdings.filter(released=None).count() == 1
    assert list(audit.findings()) == []


def test_a_release_falls_with_what_was_kept_back(school: make.World) -> None:
    kept = holds.withhold(act(school.guide), school.day_01, WithheldKind.DRYING)
    let_go = holds.release(act(school.keeper), school.day_01, WithheldKind.DRYING)

    assert [row["entry"] for row in listed(school, kept)["later"]] == [let_go.pk]


def test_putting_away_and_waking_are_undone(school: make.World) -> None:
    before = stands(school.day_01)
    away = holds.lay_up(act(school.keeper), school.day_01)
    woken = holds.wake(act(school.keeper), school.day_01)

    undo(school, woken)
    assert fresh(school.day_01).laid_up_since == away.occurred_at
    undo(school, away)

    assert stands(school.day_01) == before
    assert list(audit.findings()) == []


def test_promises_are_those_of_the_acts_that_are_left(school: make.World) -> None:
    trip = make.trip("Crag walk", school.store, first=3, last=3)
    made = reservations.reserve(act(school.keeper), school.day_01, trip, person=school.guide)
    let_go = reservations.release(act(school.keeper), made.reservation).released
    reservations.reserve(act(school.keeper), school.day_01, trip, person=school.instructor)

    undo(school, let_go)

    (row,) = school.day_01.reservations.filter(released=None)
    assert row.person == school.instructor
    assert list(audit.findings()) == []
