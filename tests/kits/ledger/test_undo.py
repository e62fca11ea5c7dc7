"""An undo leaves the book as it would be without the act, whatever was built on it since."""

from typing import Any

import pytest

from gearroom.core.acts.problems import NotAllowed
from gearroom.core.models import Person
from kits.models import (
    AsFound,
    Checkout,
    Entry,
    Holding,
    Kit,
    LevelFact,
    Movement,
    Notice,
    Seal,
    WithheldKind,
    Withholding,
)
from kits.rules.ledger.facts import Level
from kits.services.custody import custody, use
from kits.services.custody.use import UseLine
from kits.services.kits import contents, holds
from kits.services.ledger import audit, readiness, reversal
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import holders
from kits.services.restocking import building, sorting
from kits.services.stock import counting, instruments
from kits.services.stock.counting import CountLine
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import act, caller, fresh, section, units, world
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return world()


def out(school: make.World, who: Person | None = None, kit: Any = None, **more: Any) -> Entry:
    return custody.check_out(
        act(school.keeper), kit or school.day_01, person=who or school.guide, **more
    ).entry


def back(school: make.World, **more: Any) -> Entry:
    return custody.check_in(act(school.keeper), school.day_01, **more).entry


def undo(
    school: make.World, entry: Entry | None, who: Person | None = None, **more: Any
) -> reversal.Reversed:
    return reversal.reverse(act(who or school.keeper), present(entry).pk, **more)


def listed(school: make.World, entry: Entry, **more: Any) -> Any:
    """What stands on an act, as the refusal lists it."""
    with refused("built-on") as problem:
        undo(school, entry, **more)
    return problem.value.facts


def together(school: make.World, entry: Entry) -> reversal.Reversed:
    later = listed(school, entry)["later"]
    return undo(school, entry, together=True, through=later[-1]["entry"])


def stands(kit: Kit) -> dict[Any, Any]:
    """All that a kit is by the book, as plain values."""
    kit = fresh(kit)
    state = readiness.states([kit.pk])[kit.pk]
    held = holders.open_checkout(kit)
    return {
        "units": sorted(
            Holding.objects.filter(place__kit=kit, units__gt=0).values_list("lot", "place", "units")
        ),
        "levels": state.levels,
        "seals": sorted(Seal.objects.filter(kit=kit, broken=None).values_list("number", flat=True)),
        "holder": held and held.person_id,
        "as found": held and held.as_found,
        "room": kit.room_id,
        "sorting": kit.to_sort_since,
        "looked": (kit.looked_inside_on, kit.looked_inside_by_id),
        "withheld": sorted(kit.withholdings.filter(released=None).values_list("kind", flat=True)),
        "away": kit.laid_up_since,
        "lost": kit.lost_since,
        "good": (kit.ready_until, kit.fit_until, kit.may_go_until, kit.clear_until),
        "promised": sorted(kit.reservations.filter(released=None).values_list("trip", "person")),
    }


def rows() -> tuple[int, int, int]:
    """How many rows a refusal could have left behind."""
    return Entry.objects.count(), Movement.objects.count(), Checkout.objects.count()


# ---------------------------------------------------------------------------- what it was found by
def test_a_hand_back_undone_after_restocking_and_sealing_takes_these_with_it(
    school: make.World,
) -> None:
    sorting.reseal(act(school.keeper), school.day_01, "0417")
    out(school)
    before = stands(school.day_01)
    came = back(school, used=[UseLine(school.dressing, 2)])
    restocked = sorting.restock(act(school.keeper), school.day_01).entry
    sealed = sorting.reseal(act(school.keeper), school.day_01, "0418").put_on
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
    sealed = sorting.reseal(act(school.keeper), school.day_01, "0418").put_on

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
    passed = custody.pass_on(act(school.keeper), school.day_01, school.instructor).entry

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
    sealed = sorting.reseal(act(school.keeper), school.day_01, "0417").put_on
    out(school)
    came = back(school, as_found=AsFound.SEALED)

    undo(school, sealed)

    assert not hasattr(Entry.objects.get(pk=came.pk), "reversed_by")
    assert holders.open_checkout(school.day_01) is None
    assert make.fresh(school.day_01).to_sort_since is None
    assert not Seal.objects.filter(broken=None).exists()
    assert list(audit.findings()) == []


def test_a_check_by_a_whole_seal_falls_with_the_sealing(school: make.World) -> None:
    sealed = sorting.reseal(act(school.keeper), school.day_01, "0417").put_on
    checked = sorting.seal_holds(act(school.keeper), school.day_01)

    found = listed(school, sealed)

    assert [row["entry"] for row in found["later"]] == [checked.pk]


def test_a_seal_put_on_in_place_of_another_gives_way_to_it_again(school: make.World) -> None:
    sorting.reseal(act(school.keeper), school.day_01, "0417")
    second = sorting.reseal(act(school.keeper), school.day_01, "0418").put_on

    undo(school, second)

    assert Seal.objects.get(broken=None).number == "0417"
    assert list(audit.findings()) == []


def test_a_seal_stays_broken_where_something_else_opened_the_kit_too(school: make.World) -> None:
    sorting.reseal(act(school.keeper), school.day_01, "0417")
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
    sorting.reseal(act(school.keeper), school.day_01, "0417")
    out(school)
    asked = [(make.timezone.now(), None)]
    came = back(school, used=[UseLine(school.dressing, 2)])
    asked.append((make.timezone.now(), None))
    sorting.restock(act(school.keeper), school.day_01)
    sorting.reseal(act(school.keeper), school.day_01, "0418")
    asked.append((make.timezone.now(), None))
    answers = [contents.contents(school.day_01, on=at, known_by=at) for at, _ in asked]

    together(school, came)
    asked_again = [contents.contents(school.day_01, on=at, known_by=at) for at, _ in asked]

    assert asked_again == answers
    assert [(a.holder, a.seal) for a in answers] == [("Gil", "0417"), ("", ""), ("", "0418")]
    now = contents.contents(school.day_01)
    assert (now.holder, now.seal) == ("Gil", "0417")


def test_who_had_it_then_stays_when_passing_on_is_undone(school: make.World) -> None:
    out(school)
    passed = custody.pass_on(act(school.keeper), school.day_01, school.instructor).entry
    then = make.timezone.now()

    undo(school, passed)

    assert contents.contents(school.day_01, on=then, known_by=then).holder == "Ines"
    assert contents.contents(school.day_01, on=then).holder == "Gil"


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
