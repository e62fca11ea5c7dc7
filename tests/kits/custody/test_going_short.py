"""Short at dawn: what is offered, who may let it go, and who is asked and told."""

from datetime import timedelta
from typing import Any

import pytest
from pytest_django import Settings

from gearroom.core import clock
from gearroom.core.acts.problems import NotAllowed, NotFound, Refused, Unacceptable
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import people
from kits.models import (
    Checkout,
    Clearance,
    ClearanceAnswer,
    Item,
    Kit,
    Notice,
    Reservation,
    WithheldKind,
)
from kits.rules.ledger.facts import Criticality, Level, Word
from kits.rules.mail.plain_text import as_text
from kits.services.custody import clearances, custody, offers
from kits.services.kits import holds
from kits.services.ledger import audit, reversal, verdicts
from kits.services.ledger.levels import LooseLevel
from kits.services.mail import digest_data, digest_text, notice_texts
from kits.services.notices.links import clearance_token
from kits.services.people import merging
from kits.services.recalls import recalls
from kits.services.restocking import adding, sorting
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.labels.scan import scanned

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return make.world()


def lacking(school: make.World, priority: Criticality = Criticality.ROUTINE) -> tuple[Kit, Item]:
    """A kit ROPE-01 that carries no sling, of which its list asks for two; and the sling."""
    return lacking_named(school, "ROPE-01", priority)


def lacking_named(
    school: make.World, name: str, priority: Criticality = Criticality.ROUTINE
) -> tuple[Kit, Item]:
    """The same, by another name."""
    sling = make.item("Sling" if name == "ROPE-01" else f"Sling of {name}")
    version = make.kit_list(
        f"{name} {priority}", {"main": [(sling, 3, 2, priority)]}, signed_by=school.adviser
    )
    kit = make.kit(name, version, school.store, responsible=school.instructor)
    sorting.look_inside(make.act(), kit)
    return make.fresh(kit), sling


def out(school: make.World, kit: Kit, who: Any = None, **more: Any) -> custody.CheckOut:
    return custody.check_out(
        make.act(who or school.guide), make.fresh(kit), person=school.guide, **more
    )


def refused(school: make.World, kit: Kit, who: Any = None, **more: Any) -> Refused:
    with pytest.raises(Refused) as problem:
        out(school, kit, who, **more)
    return problem.value


def offered(problem: Refused) -> list[Any]:
    return [row["do"] for row in problem.facts["offers"]]


# ------------------------------------------------------------------------------ what is offered
def test_a_short_kit_offers_the_shelf_then_another_then_going_short(school: make.World) -> None:
    kit, sling = lacking(school)
    other = make.kit("ROPE-02", kit.list_version, school.store)
    shelf = make.shelf(school.store, "B3")
    make.some(sling, shelf, 9, "S", make.days(300))
    make.put_in(other, sling.lots.get(), shelf, 3)
    sorting.look_inside(make.act(), other)

    problem = refused(school, kit)

    assert problem.code == "short-needs-a-reason"
    assert [row["says"] for row in problem.facts["offers"]] == [
        "Add 3 × Sling from shelf B3",
        "Take ROPE-02: Ready",
        "Take it out although it is short, with a reason",
    ]
    add, take, short = problem.facts["offers"]
    line = kit.list_version.sections.get().lines.get()
    assert add["fields"] == {"line": line.pk, "through": problem.facts["through"]}
    assert (take["kit"], take["fields"]) == ("ROPE-02", {"person": str(school.guide.pk)})
    assert short["needs"] == ["short_reason"]


def test_what_is_offered_settles_it(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.shelf, 2, "S", make.days(300))
    make.some(sling, school.shelf, 5, "SOON", make.days(300))
    (add, *_rest) = refused(school, kit).facts["offers"]

    adding.add(make.act(school.guide), kit, add["fields"]["line"])

    assert out(school, kit).verdict.word is Word.READY
    assert list(audit.findings()) == []


def test_adding_is_no_check_of_the_kit_and_ends_no_sorting(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.shelf, 5, "S", make.days(300))
    custody.check_in(make.act(school.guide), kit)
    before = make.fresh(kit)
    line = kit.list_version.sections.get().lines.get()

    adding.add(make.act(school.guide), kit, line.pk)

    kit = make.fresh(kit)
    assert kit.to_sort_since == before.to_sort_since
    assert kit.looked_inside_by == before.looked_inside_by
    assert list(audit.findings()) == []


def test_a_box_that_nobody_counts_is_filled_up_from_its_shelf(school: make.World) -> None:
    wipes = make.item("Wipes", by_eye=True, needs_date=False)
    version = make.kit_list(
        "Wipes", {"main": [(wipes, 1, 1, Criticality.ROUTINE)]}, signed_by=school.adviser
    )
    kit = make.kit("WIPE-01", version, school.store)
    sorting.look_inside(make.act(), kit, levels=[LooseLevel(make.section(kit), wipes, Level.EMPTY)])
    make.some(wipes, school.shelf, 3)

    (add, *_rest) = refused(school, kit).facts["offers"]
    assert add["says"] == "Top up Wipes from shelf C2"
    adding.add(make.act(school.guide), kit, add["fields"]["line"])

    assert out(school, kit).verdict.word is Word.READY


def test_what_no_shelf_here_has_is_not_offered_and_not_added(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.hut_shelf, 5, "S", make.days(300))
    line = kit.list_version.sections.get().lines.get()

    assert "add" not in offered(refused(school, kit))
    with pytest.raises(Refused) as problem:
        adding.add(make.act(school.guide), kit, line.pk)

    assert problem.value.code == "nothing-to-add"


@pytest.mark.parametrize("why", ["promised", "out", "other room", "other list", "not fit"])
def test_a_kit_that_is_not_free_or_not_fit_is_not_offered(school: make.World, why: str) -> None:
    kit, sling = lacking(school)
    follows = kit.list_version
    if why == "other list":
        follows = make.kit_list("Other", {"main": [(sling, 1, 1, Criticality.ROUTINE)]})
    at = school.hut if why == "other room" else school.store
    shelf = school.hut_shelf if why == "other room" else school.shelf
    other = make.kit("ROPE-02", follows, at)
    lot = make.some(sling, shelf, 3, "S", make.days(300))
    if why != "not fit":
        make.put_in(other, lot, shelf, 3)
    sorting.look_inside(make.act(), other)
    if why == "promised":
        trip = make.trip("Crag walk", school.store, 0, 1)
        reservations.reserve(make.act(), make.fresh(other), trip)
    if why == "out":
        custody.check_out(make.act(), make.fresh(other), person=school.instructor)

    assert "take-other" not in offered(refused(school, kit))


def test_a_kit_left_for_sorting_offers_a_check_first(school: make.World) -> None:
    custody.check_in(make.act(school.guide), school.day_01)

    problem = refused(school, school.day_01)

    assert problem.code == "not-fit"
    assert problem.facts["offers"][0]["do"] == "look-inside"
    assert "clear-by-phone" not in offered(problem)


@pytest.mark.parametrize("stop", ["on hold", "recalled"])
def test_whatever_else_stops_it_only_another_kit_is_offered(school: make.World, stop: str) -> None:
    other: Kit | None = scanned.filled("DAY-03", school)
    if stop == "on hold":
        holds.withhold(make.act(school.keeper), school.day_01, WithheldKind.DRYING)
    else:
        recalls.start(
            make.act(school.keeper),
            item=school.dressing,
            scope="number",
            number="D1",
            reference="R",
        )
        other = None

    problem = refused(school, school.day_01)

    assert offered(problem) == (["take-other"] if other else [])
    with pytest.raises(Refused):
        out(school, school.day_01, cleared_by=school.keeper, short_reason="it must")


def test_readiness_by_the_api_carries_the_same_offers(school: make.World) -> None:
    kit, _sling = lacking(school)

    answer = make.caller(school.guide).get(f"kits/{kit.name}/readiness/").json()

    assert [row["do"] for row in answer["offers"]] == ["go-short"]
    assert make.caller(school.guide).get("kits/DAY-01/readiness/").json()["offers"] == []


def test_the_api_adds_what_one_line_lacks(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.shelf, 5, "S", make.days(300))
    call = make.caller(school.guide)
    answer = call.post(f"kits/{kit.name}/check-out/", {"person": str(school.guide.pk)})
    (add, *_rest) = answer.json()["offers"]

    done = call.post(f"kits/{add['kit']}/restock/", add["fields"])

    assert (done.status_code, done.json()["units_put_in"]) == (201, 3)


def another_full(school: make.World, name: str, kit: Kit, sling: Item) -> Kit:
    other = make.kit(name, kit.list_version, school.store)
    make.put_in(other, make.some(sling, school.shelf, 3, "S", make.days(300)), school.shelf, 3)
    sorting.look_inside(make.act(), other)
    return make.fresh(other)


def test_another_kit_that_the_api_offers_is_taken_by_what_the_offer_says(
    school: make.World,
) -> None:
    kit, sling = lacking(school)
    full = another_full(school, "ROPE-00", kit, sling)
    other = another_full(school, "ROPE-02", kit, sling)
    trip = make.trip("Crag walk", school.store)
    for each in (full, kit):
        reservations.reserve(make.act(), each, trip)
    call = make.caller(school.guide)
    body = {"trip": str(trip.pk), "person": str(school.guide.pk)}
    answer = call.post(f"kits/{kit.name}/check-out/", body).json()
    (take,) = [row for row in answer["offers"] if row["do"] == "take-other"]

    done = call.post(f"kits/{take['kit']}/check-out/", take["fields"])

    assert (take["kit"], done.status_code) == ("ROPE-02", 201)
    held = Checkout.objects.get()
    assert (held.kit, held.trip) == (other, trip)
    promised = Reservation.objects.promised().filter(trip=trip)
    assert {row.kit for row in promised} == {full, other}, "the short one is promised no more"


def test_another_kit_for_no_trip_swaps_nothing(school: make.World) -> None:
    kit, sling = lacking(school)
    another_full(school, "ROPE-02", kit, sling)

    (take,) = [row for row in refused(school, kit).facts["offers"] if row["do"] == "take-other"]

    assert take["fields"] == {"person": str(school.guide.pk)}


# ------------------------------------------------------------------------------------ going short
def test_a_guide_lets_it_go_on_a_routine_line_and_its_people_are_told_once(
    school: make.World,
) -> None:
    kit, _sling = lacking(school)

    out(school, kit, short_reason="two of us carry one")
    custody.check_in(make.act(school.guide), kit)
    sorting.look_inside(make.act(school.guide), kit)
    out(school, kit, short_reason="again")

    told = Notice.objects.filter(kind="went-short")
    assert {n.person for n in told} == {school.keeper, school.instructor}
    assert told.count() == 2
    assert Checkout.objects.latest("id").short_reason == "again"


def test_after_something_was_put_in_the_same_lack_is_told_anew(school: make.World) -> None:
    kit, sling = lacking(school)
    out(school, kit, short_reason="we go light")
    custody.check_in(make.act(school.guide), kit)
    lot = make.some(sling, school.shelf, 1, "S", make.days(300))
    make.put_in(make.fresh(kit), lot, school.shelf, 1)

    out(school, kit, short_reason="still")

    assert Notice.objects.filter(kind="went-short", person=school.keeper).count() == 2


def test_on_an_important_line_a_guide_does_not_unless_the_room_says_so(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.IMPORTANT)
    assert offered(refused(school, kit)) == ["clear-by-phone"]
    with pytest.raises(NotAllowed):
        out(school, kit, short_reason="two of us carry one")

    school.store.guides_decide_important = True
    school.store.save()

    assert offered(refused(school, kit)) == ["go-short"]
    assert out(school, kit, short_reason="two of us carry one").checkout


def test_a_keeper_lets_it_go_on_an_important_line_and_is_not_told_of_it_themselves(
    school: make.World,
) -> None:
    kit, _sling = lacking(school, Criticality.IMPORTANT)

    out(school, kit, school.keeper, short_reason="seen to")

    assert {n.person for n in Notice.objects.filter(kind="went-short")} == {school.instructor}


def test_what_nobody_checked_lately_is_no_line_and_a_guide_is_offered_a_check(
    school: make.World,
) -> None:
    kit = scanned.filled("DAY-03", school)
    Kit.objects.filter(pk=kit.pk).update(look_interval_days=1)
    later = make.days(0) + timedelta(days=3)

    verdict = verdicts.verdict(make.fresh(kit), later)

    assert verdict.word is Word.SHORT
    found = offers.offers(make.actor(school.guide), make.fresh(kit), verdict)
    assert [row.do for row in found] == ["look-inside", "take-other", "clear-by-phone"]


# ------------------------------------------------------------------------------- cleared by phone
def test_a_must_have_offers_those_who_may_clear_it_by_phone(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)

    problem = refused(school, kit)

    assert problem.code == "not-fit"
    (clear,) = problem.facts["offers"]
    assert (clear["do"], clear["needs"]) == ("clear-by-phone", ["cleared_by"])
    names = [each["name"] for each in clear["people"]]
    assert names == ["Ada", "Ines", "Kim"]


def test_cleared_by_phone_it_goes_and_whoever_is_named_is_asked(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)

    taken = out(school, kit, cleared_by=school.instructor)

    clearance = Clearance.objects.get()
    assert (clearance.entry, clearance.person) == (taken.entry, school.instructor)
    assert clearance.reasons == [{"code": "short", "thing": "Sling", "lacking": 2}]
    notice = Notice.objects.get(kind="cleared-by-phone")
    assert (notice.person, notice.kit) == (school.instructor, kit)
    assert taken.entry.irregular == []


def test_a_guide_or_a_keeper_of_another_room_does_not_clear_it(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    elsewhere = make.person("Eve", Role.KEEPER, school.hut)

    for person in (school.guide, elsewhere):
        with pytest.raises(Unacceptable) as problem:
            out(school, kit, cleared_by=person)
        assert problem.value.code == "may-not-clear"
        assert school.keeper.pk in problem.value.facts["people"]
    assert not Checkout.objects.exists()


def test_whoever_did_clear_it_says_so_once_by_the_link(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    out(school, kit, cleared_by=school.adviser)
    link = clearance_token(Clearance.objects.get().pk)

    done = clearances.answer_by_link(clearances.by_link(link), confirmed=True)

    assert (done.confirmed, done.entry.person) == (True, school.adviser)
    assert done.entry.irregular == []
    assert not Notice.objects.filter(kind="not-cleared").exists()
    with pytest.raises(Refused) as again:
        clearances.answer_by_link(clearances.by_link(link), confirmed=False)
    assert again.value.code == "answered-already"
    assert list(audit.findings()) == []


def test_a_clearance_that_was_none_is_told_at_once_and_marked(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    out(school, kit, cleared_by=school.adviser)

    done = clearances.answer_by_link(Clearance.objects.get(), confirmed=False)

    assert done.entry.irregular == ["not-cleared"]
    told = Notice.objects.filter(kind="not-cleared")
    assert {n.person for n in told} == {school.keeper, school.instructor}


def test_a_take_out_is_undone_whatever_was_said_of_its_clearance(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    taken = out(school, kit, cleared_by=school.adviser)
    clearances.answer_by_link(Clearance.objects.get(), confirmed=False)

    reversal.reverse(make.act(school.keeper), taken.entry.pk)

    assert not Checkout.objects.filter(in_at=None).exists()
    assert ClearanceAnswer.objects.exists()
    assert list(audit.findings()) == []


def test_a_link_that_was_not_made_here_is_none(school: make.World) -> None:
    with pytest.raises(NotFound):
        clearances.by_link("made-up")


def test_signed_in_only_whoever_is_named_answers(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    out(school, kit, cleared_by=school.instructor)
    pk = Clearance.objects.get().pk

    other = make.caller(school.keeper).post(f"clearances/{pk}/answer/", {"confirmed": True})
    own = make.caller(school.instructor).post(f"clearances/{pk}/answer/", {"confirmed": True})
    stranger = make.caller(school.stranger).post(f"clearances/{pk}/answer/", {"confirmed": True})

    assert (other.status_code, other.json()["code"]) == (403, "not-yours")
    assert (own.status_code, own.json()["confirmed"]) == (200, True)
    assert stranger.status_code == 404
    (row,) = make.caller(school.keeper).get("clearances/?answered=true").json()["results"]
    assert (row["kit"], row["cleared_by"]["name"]) == ("ROPE-01", "Ines")


@pytest.mark.parametrize("by", ["signed in", "by the link"])
def test_whoever_turns_out_to_be_the_one_named_answers(school: make.World, by: str) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    out(school, kit, cleared_by=school.instructor)
    kept = make.person("Ines Hall", Role.GUIDE, school.hut)
    people.leave(make.act(), school.instructor)
    school.instructor.refresh_from_db()
    merging.merge(make.act(), school.instructor, kept)
    clearance = Clearance.objects.get()

    if by == "signed in":
        call = make.caller(kept)
        assert [row["id"] for row in call.get("clearances/").json()["results"]] == [clearance.pk]
        said = call.post(f"clearances/{clearance.pk}/answer/", {"confirmed": True})
        assert said.status_code == 200
    else:
        clearances.answer_by_link(clearance, confirmed=True)

    assert ClearanceAnswer.objects.get().entry.person == kept


def test_unanswered_after_a_day_it_is_said_until_it_is_answered_or_undone(
    school: make.World,
) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    taken = out(school, kit, cleared_by=school.instructor)
    tomorrow = clock.now() + timedelta(days=1, minutes=1)

    assert clearances.unanswered([kit.pk], clock.now()) == []
    assert [each.person for each in clearances.unanswered([kit.pk], tomorrow)] == [
        school.instructor
    ]
    assert clearances.unanswered([school.day_01.pk], tomorrow) == []

    reversal.reverse(make.act(school.keeper), taken.entry.pk)
    assert clearances.unanswered([kit.pk], tomorrow) == []


def test_the_weekly_email_and_its_letter_say_so_too(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    out(school, kit, cleared_by=school.adviser)
    week = digest_data.gather([school.instructor], clock.now() + timedelta(days=2))

    text = as_text(digest_text.letter(week[school.instructor.pk]))

    assert "CLEARED BY PHONE, NOT CONFIRMED" in text.upper()
    assert "ask Ada" in text


def test_each_notice_says_what_it_is_about_and_the_named_persons_has_the_link(
    school: make.World, settings: Settings
) -> None:
    settings.PUBLIC_URL = "https://gear.umberfell.example"
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    out(school, kit, cleared_by=school.adviser)
    clearances.answer_by_link(Clearance.objects.get(), confirmed=False)
    short, _thing = lacking_named(school, "ROPE-09")
    out(school, short, short_reason="two of us carry one")

    texts = {n.kind: as_text(notice_texts.letter(n)) for n in Notice.objects.all()}

    link = f"https://gear.umberfell.example/cleared/{clearance_token(Clearance.objects.get().pk)}"
    assert link[:60] in texts["cleared-by-phone"]
    assert "Did you clear it?" in texts["cleared-by-phone"]
    assert "short of 2 × Sling" in texts["not-cleared"]
    assert "two of us carry one" in texts["went-short"]


def test_a_kit_that_needs_no_clearance_by_now_goes_without_one(school: make.World) -> None:
    out(school, school.day_01, cleared_by=school.keeper)

    assert not Clearance.objects.exists()


def test_the_api_takes_who_cleared_it(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)

    answer = make.caller(school.guide).post(
        f"kits/{kit.name}/check-out/",
        {"person": str(school.guide.pk), "cleared_by": str(school.keeper.pk)},
    )

    assert answer.status_code == 201
    assert Clearance.objects.get().person == school.keeper
