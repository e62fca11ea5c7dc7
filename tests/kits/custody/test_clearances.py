"""What is short of a must-have goes once somebody who may has cleared it by telephone."""

from datetime import timedelta

import pytest
from pytest_django import Settings

from gearroom.core import clock
from gearroom.core.acts import NotFound, Refused, Unacceptable
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import people
from kits.models import Checkout, Clearance, ClearanceAnswer, Notice
from kits.rules.ledger.facts import Criticality
from kits.rules.mail.plain_text import as_text
from kits.services.custody import clearances
from kits.services.ledger import audit
from kits.services.ledger.undo import reversal
from kits.services.mail import notice_texts
from kits.services.mail.digest import digest_data, digest_text
from kits.services.notices.notice_text import clearance_token
from kits.services.people import personal_records
from tests.kits import factories as make
from tests.kits.custody.short_kits import lacking, lacking_named, out, refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return make.world()


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
    personal_records.merge(make.act(), school.instructor, kept)
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

    assert "APPROVED BY PHONE, NOT CONFIRMED" in text.upper()
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
    assert "Did you approve taking it?" in texts["cleared-by-phone"]
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
