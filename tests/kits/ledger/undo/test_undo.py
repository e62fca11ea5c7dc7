"""An undo leaves the book as it would be without the act, whatever was built on it since."""

import pytest

from gearroom.core.acts import NotAllowed
from kits.models import AsFound, Checkout, Kit, Notice
from kits.services.custody import custody, passing_on, use
from kits.services.custody.use import UseLine
from kits.services.kits import history, holds
from kits.services.ledger import audit
from kits.services.lookup import holders
from kits.services.restocking import sealing, sorting
from tests.kits import factories as make
from tests.kits.factories import act, caller, section, units, world
from tests.kits.ledger.undo.undoing import back, listed, out, rows, stands, together, undo
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return world()


# ---------------------------------------------------------------------------- what it was found by
def test_a_hand_back_undone_after_restocking_and_sealing_takes_these_with_it(
    school: make.World,
) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    out(school)
    before = stands(school.day_01)
    came = back(school, used=[UseLine(school.dressing, 2)])
    restocked = sorting.restock(act(school.keeper), school.day_01).entry
    sealed = sealing.reseal(act(school.keeper), school.day_01, "0418").put_on
    written = rows(), stands(school.day_01)

    found = listed(school, came)

    assert [row["entry"] for row in found["later"]] == [restocked.pk, sealed.pk]
    assert found["together"] is True
    assert {"entry", "kind", "when", "who", "text"} == set(found["later"][0])
    assert (rows(), stands(school.day_01)) == written

    done = undo(school, came, together=True, through=sealed.pk)

    assert stands(school.day_01) == before
    assert present(holders.open_checkout(school.day_01)).person == school.guide
    assert [row.pk for row in done.later] == [restocked.pk, sealed.pk]
    assert any("0417" in change.text for change in done.changes)
    assert list(audit.findings()) == []


def test_an_act_since_the_list_was_read_is_listed_anew(school: make.World) -> None:
    out(school)
    came = back(school)
    sorting.restock(act(school.keeper), school.day_01)
    read = listed(school, came)["later"][-1]["entry"]
    sealed = sealing.reseal(act(school.keeper), school.day_01, "0418").put_on

    again = listed(school, came, together=True, through=read)

    assert again["later"][-1]["entry"] == sealed.pk
    undo(school, came, together=True, through=sealed.pk)
    assert list(audit.findings()) == []


def test_together_without_saying_through_which_changes_nothing(school: make.World) -> None:
    out(school)
    came = back(school)
    sorting.restock(act(school.keeper), school.day_01)

    listed(school, came, together=True)

    assert holders.open_checkout(school.day_01) is None


# ----------------------------------------------------------------------------------------- custody
def test_somebody_elses_taking_out_is_not_undone(school: make.World) -> None:
    out(school)
    came = back(school, as_found=AsFound.OPENED)
    sorting.look_inside(act(school.keeper), school.day_01)
    out(school, school.instructor)

    found = listed(school, came)

    assert found["together"] is False
    with refused("built-on") as problem:
        undo(school, came, together=True, through=found["later"][-1]["entry"])
    assert "Count the kit" in problem.value.detail
    assert present(holders.open_checkout(school.day_01)).person == school.instructor


def test_a_taking_out_by_the_same_guide_is_undone_with_the_hand_back_before_it(
    school: make.World,
) -> None:
    first = out(school)
    came = back(school, as_found=AsFound.OPENED)
    sorting.look_inside(act(school.keeper), school.day_01)
    out(school)

    together(school, came)

    assert Checkout.objects.get(in_at=None).opened_by == first
    assert list(audit.findings()) == []


def test_a_kit_that_went_without_asking_stays_with_who_has_it(school: make.World) -> None:
    first = out(school)
    came = back(school)
    out(school, school.instructor, already_gone=True)

    undo(school, came)

    assert present(holders.open_checkout(school.day_01)).person == school.instructor
    assert Checkout.objects.get(opened_by=first).in_at is not None
    assert list(audit.findings()) == []


def test_what_names_a_taking_out_falls_with_it(school: make.World) -> None:
    went = out(school)
    used = use.log_use(act(school.guide), school.day_01, [UseLine(school.dressing, 2)]).entry
    passed = passing_on.pass_on(act(school.keeper), school.day_01, school.instructor).entry

    found = listed(school, went)

    assert [row["entry"] for row in found["later"]] == [used.pk, passed.pk]
    together(school, went)
    assert holders.open_checkout(school.day_01) is None
    assert units(school.dressings, section(school.day_01)) == 6
    assert list(audit.findings()) == []


def test_an_emergency_taking_undone_gives_the_kit_back_to_who_had_it(school: make.World) -> None:
    out(school)
    taken = out(school, school.instructor, emergency=True)

    undo(school, taken)

    assert present(holders.open_checkout(school.day_01)).person == school.guide
    assert list(audit.findings()) == []


# ------------------------------------------------------------------------------- rights and notices
def test_rights_are_asked_for_every_act_that_would_go(school: make.World) -> None:
    out(school)
    came = custody.check_in(act(school.guide), school.day_01, as_found=AsFound.OPENED).entry
    restocked = sorting.restock(act(school.keeper), school.day_01).entry
    written = rows(), stands(school.day_01)

    with pytest.raises(NotAllowed):
        undo(school, came, school.guide, together=True, through=restocked.pk)

    assert (rows(), stands(school.day_01)) == written


def test_unsent_notices_of_all_that_is_undone_are_taken_back_and_none_is_left(
    school: make.World,
) -> None:
    out(school)
    came = back(school, wrong="a torn zip")
    sorting.restock(act(school.keeper), school.day_01)
    assert Notice.objects.filter(taken_back_at=None).exists()

    together(school, came)

    assert not Notice.objects.filter(taken_back_at=None).exists()


# --------------------------------------------------------------------------- known by then
def test_what_was_known_then_stays_whatever_is_undone_since(school: make.World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    out(school)
    asked = [(make.timezone.now(), None)]
    came = back(school, used=[UseLine(school.dressing, 2)])
    asked.append((make.timezone.now(), None))
    sorting.restock(act(school.keeper), school.day_01)
    sealing.reseal(act(school.keeper), school.day_01, "0418")
    asked.append((make.timezone.now(), None))
    answers = [history.contents(school.day_01, on=at, known_by=at) for at, _ in asked]

    together(school, came)
    asked_again = [history.contents(school.day_01, on=at, known_by=at) for at, _ in asked]

    assert asked_again == answers
    assert [(a.holder, a.seal) for a in answers] == [("Gil", "0417"), ("", ""), ("", "0418")]
    now = history.contents(school.day_01)
    assert (now.holder, now.seal) == ("Gil", "0417")


def test_who_had_it_then_stays_when_passing_on_is_undone(school: make.World) -> None:
    out(school)
    passed = passing_on.pass_on(act(school.keeper), school.day_01, school.instructor).entry
    then = make.timezone.now()

    undo(school, passed)

    assert history.contents(school.day_01, on=then, known_by=then).holder == "Ines"
    assert history.contents(school.day_01, on=then).holder == "Gil"


# ----------------------------------------------------------------------------- the door
def test_the_door_lists_what_stands_on_it_then_undoes_all_of_it(school: make.World) -> None:
    out(school)
    came = back(school, used=[UseLine(school.dressing, 2)])
    sorting.restock(act(school.keeper), school.day_01)
    door = caller(school.keeper)

    answer = door.post(f"entries/{came.pk}/reverse/", {})
    assert (answer.status_code, answer.json()["code"]) == (409, "built-on")
    later = answer.json()["later"]
    assert [row["kind"] for row in later] == ["restock"]

    answer = door.post(
        f"entries/{came.pk}/reverse/", {"together": True, "through": later[-1]["entry"]}
    )

    assert answer.status_code == 201, answer.content
    assert [row["entry"] for row in answer.json()["later"]] == [later[-1]["entry"]]
    assert "Gil has DAY-01." in [change["text"] for change in answer.json()["changes"]]


# ----------------------------------------------------------------------------------- lost and found
@pytest.mark.parametrize("last", ["out", "back", "pass"])
def test_a_kit_that_changed_hands_is_not_lost_whatever_else_found_it_before(
    school: make.World, last: str
) -> None:
    kit = school.day_01
    out(school)
    holds.mark_lost(act(school.keeper), kit)
    found = holds.find_again(act(school.keeper), kit)
    if last == "out":
        proof = out(school, school.keeper, already_gone=True)
    elif last == "back":
        proof = back(school, as_found=AsFound.CLOSED)
    else:
        proof = passing_on.pass_on(act(school.keeper), kit, school.keeper).entry

    undo(school, found)

    stood = stands(kit)
    assert (stood["lost"], stood["sorting"]) == (None, proof.occurred_at)
    assert list(audit.findings()) == []


def test_a_kit_is_not_lost_again_without_the_taking_out_that_found_it(school: make.World) -> None:
    holds.mark_lost(act(school.keeper), school.day_01)
    gone = out(school, already_gone=True)
    back(school, as_found=AsFound.OPENED)
    rescue = out(school, school.keeper, emergency=True)

    together(school, gone)

    stood = stands(school.day_01)
    assert (stood["holder"], stood["lost"]) == (school.keeper.pk, None)
    assert stood["sorting"] == rescue.occurred_at
    assert list(audit.findings()) == []


def test_the_audit_finds_a_kit_kept_as_lost_that_has_changed_hands_since(
    school: make.World,
) -> None:
    lost = holds.mark_lost(act(school.keeper), school.day_01)
    out(school, already_gone=True)
    Kit.objects.filter(pk=school.day_01.pk).update(lost_since=lost.occurred_at)

    assert [str(finding.text) for finding in audit.findings() if "lost" in finding.text]
