"""The wrong kit was scanned: the act moves to the kit that it really was."""

from typing import Any

import pytest

from gearroom.core.acts import NotAllowed
from gearroom.core.rules.roles import Role
from kits.models import AsFound, Checkout, Entry, LevelFact, Reservation
from kits.rules.ledger.facts import Level
from kits.services.custody import custody, passing_on, wrong_kit
from kits.services.custody.use import UseLine
from kits.services.ledger import audit
from kits.services.ledger.levels import LooseLevel
from kits.services.ledger.undo import reversal
from kits.services.lookup import find, holders
from kits.services.restocking import sealing, sorting
from kits.services.trips import reservations
from tests.kits import again, factories as make
from tests.kits.factories import act, fresh, section as section_of, units, world
from tests.kits.problems import refused
from tests.labels.scan.scanned import filled
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
@again.kept
def school() -> make.World:
    made = world()
    made.day_03 = filled("DAY-03", made)
    made.other_guide = make.person("Olu", Role.GUIDE, made.store)
    return made


def out(school: make.World, kit: Any, **more: Any) -> custody.CheckOut:
    return custody.check_out(act(school.guide), kit, person=school.guide, **more)


def with_guide(school: make.World) -> set[Any]:
    return {each.kit.name for each in Checkout.objects.filter(in_at=None, person=school.guide)}


def test_a_kit_taken_out_by_mistake_is_in_and_the_right_one_is_out_since_the_same_time(
    school: make.World,
) -> None:
    first = out(school, school.day_01)

    done = wrong_kit.correct_kit(act(school.guide), first.entry.pk, school.day_03)

    assert with_guide(school) == {"DAY-03"}
    held = Checkout.objects.get(in_at=None)
    assert (held.due_at, held.trip) == (
        present(first.checkout).due_at,
        present(first.checkout).trip,
    )
    assert present(done.entry).occurred_at == first.entry.occurred_at
    assert "DAY-03" in Entry.objects.get(reverses=first.entry).reason
    assert list(audit.findings()) == []


def test_the_promise_to_the_trip_follows_to_the_kit_that_went(school: make.World) -> None:
    trip = make.trip("Crag walk", school.store, leader=school.guide)
    reservations.reserve(act(), school.day_01, trip)
    first = out(school, school.day_01)

    wrong_kit.correct_kit(act(school.guide), first.entry.pk, school.day_03)

    (promise,) = Reservation.objects.filter(trip=trip, released=None)
    assert promise.kit == school.day_03
    assert present(holders.open_checkout(school.day_03)).reservation == promise


def test_a_kit_that_was_not_fit_and_went_is_on_record_as_irregular(school: make.World) -> None:
    first = out(school, school.day_01)

    done = wrong_kit.correct_kit(act(school.guide), first.entry.pk, school.day_02)  # which is empty

    assert with_guide(school) == {"DAY-02"}
    assert present(done.entry).irregular


def test_a_rescue_that_nobody_is_named_for_is_nobody_s_after_a_correction(
    school: make.World,
) -> None:
    first = custody.check_out(act(school.guide), school.day_01, person=None, emergency=True)

    wrong_kit.correct_kit(act(school.keeper), first.entry.pk, school.day_03)

    held = Checkout.objects.get(in_at=None)
    assert (held.kit, held.person, held.trip, held.due_at) == (school.day_03, None, None, None)


def test_use_that_was_written_for_the_wrong_kit_is_taken_from_the_right_one(
    school: make.World,
) -> None:
    for kit in (school.day_01, school.day_03):
        out(school, kit)
    used = [UseLine(school.dressing, 2), UseLine(school.dressing, 1, school.dressings)]
    low = LooseLevel(section_of(school.day_01), school.plasters, Level.LOW)
    back = custody.check_in(
        act(school.guide),
        school.day_01,
        as_found=AsFound.OPENED,
        used=used,
        levels=[low],
        wrong="zip torn",
        sharps_or_blood=True,
    )

    wrong_kit.correct_kit(act(school.guide), back.entry.pk, school.day_03)

    assert with_guide(school) == {"DAY-01"}
    assert units(school.dressings, section_of(school.day_01)) == 6
    assert units(school.dressings, section_of(school.day_03)) == 3
    moved = Entry.objects.get(kind="use", kit=school.day_03)
    assert sorted(moved.movements.values_list("units", "lot_assumed")) == [(1, False), (2, True)]
    latest = LevelFact.objects.filter(item=school.plasters, section__kit=school.day_03).latest("id")
    assert latest.level == "low"
    again = Entry.objects.filter(kind="check-in", kit=school.day_03).latest("id")
    assert (again.detail["as_found"], again.detail["sharps_or_blood"]) == ("opened", True)
    assert [w.note for w in school.day_03.withholdings.filter(released=None)] == ["zip torn"]
    assert not school.day_01.withholdings.filter(released=None).exists()
    assert list(audit.findings()) == []


def test_sealed_and_dry_moves_with_the_seal_of_the_right_kit(school: make.World) -> None:
    sealing.reseal(act(school.keeper), school.day_03, "0500", anyway=True)
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    for kit in (school.day_01, school.day_03):
        out(school, kit)
    back = custody.check_in(act(school.guide), school.day_01, as_found=AsFound.SEALED)

    wrong_kit.correct_kit(act(school.guide), back.entry.pk, school.day_03)

    assert Checkout.objects.get(kit=school.day_03).as_found == "sealed-and-dry"
    assert fresh(school.day_03).to_sort_since is None


def test_a_kit_passed_on_was_really_another(school: make.World) -> None:
    for kit in (school.day_01, school.day_03):
        out(school, kit)
    passing_on.pass_on(act(school.guide), school.day_01, school.instructor)
    passed = Entry.objects.get(kind="pass")

    wrong_kit.correct_kit(act(school.guide), passed.pk, school.day_03)

    assert with_guide(school) == {"DAY-01"}
    assert present(holders.open_checkout(school.day_03)).person == school.instructor


def test_where_the_right_kit_came_back_since_its_own_record_stands(school: make.World) -> None:
    first = out(school, school.day_01)
    came = custody.check_in(act(school.keeper), school.day_03)  # the book did not show it out

    done = wrong_kit.correct_kit(act(school.guide), first.entry.pk, school.day_03)

    assert done.entry is None
    assert with_guide(school) == set()
    assert fresh(school.day_03).to_sort_since == came.entry.occurred_at


def test_the_correction_itself_is_undone_by_itself(school: make.World) -> None:
    first = out(school, school.day_01)
    done = wrong_kit.correct_kit(act(school.guide), first.entry.pk, school.day_03)

    reversal.reverse(act(school.guide), present(done.entry).pk)

    assert with_guide(school) == set()


def test_the_likeliest_kits_come_first(school: make.World) -> None:
    make.kit("AA-01", make.kit_list("Other", {"main": []}), school.store)
    out(school, school.day_02, already_gone=True)
    first = out(school, school.day_01)

    names = [
        kit.name
        for kit in wrong_kit.candidates(make.actor(school.guide), first.entry, school.day_01)
    ]

    assert names == ["DAY-03", "AA-01", "DAY-02"]


def test_what_cannot_be_moved_says_what_to_do(school: make.World) -> None:
    looked = sorting.look_inside(act(school.guide), school.day_01)
    first = out(school, school.day_01)

    with refused("not-reversible"):
        wrong_kit.correct_kit(act(school.guide), looked.pk, school.day_03)
    with refused("same-kit"):
        wrong_kit.correct_kit(act(school.guide), first.entry.pk, find.any_kit("DAY-01"))
    with pytest.raises(NotAllowed):
        wrong_kit.correct_kit(act(school.other_guide), first.entry.pk, school.day_03)


def test_the_door_moves_an_act(school: make.World) -> None:
    first = out(school, school.day_01)

    answer = make.caller(school.guide).post(f"entries/{first.entry.pk}/really/", {"kit": "day-03"})

    assert answer.status_code == 201
    assert answer.json()["entry"]["kind"] == "check-out"
    assert with_guide(school) == {"DAY-03"}
