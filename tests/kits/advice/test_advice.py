"""Advice for others, from the link to the copy that is kept."""

import json
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction

from gearroom.core import clock
from gearroom.core.acts import (
    AlreadyAnswered,
    Invalid,
    NotAllowed,
    NotFound,
    OtherProblem,
    Refused,
    Stale,
    Unacceptable,
)
from gearroom.core.rules.roles import Role
from kits.models import Activity, Advice, AdviceCopy, Item, ItemNeed, Need, NeedGroup
from kits.rules.ledger.facts import Kind
from kits.rules.planning.advice import State
from kits.services.advice import access, drafts, links, register, sending
from kits.services.advice.drafts import Answers, Line
from kits.services.planning.drafting import propose
from kits.services.planning.records import priors
from kits.services.text.planning import advice_texts
from tests.kits import factories as make
from tests.kits.advice.school import (
    CREW,
    advising,
    answered,
    edit,
    send,
    serves,
    turn_on,
)
from tests.kits.factories import World, act
from tests.kits.planning.school import past

pytestmark = pytest.mark.django_db
WORDS = {"en-gb": "Good for it.", "de": "Gut dafür."}


@pytest.fixture
def w() -> World:
    return advising()


# ------------------------------------------------------------------------------- on, off, and who
def test_while_it_is_off_nothing_is_there(w: World) -> None:
    made, link = answered(w)
    turn_on([], on=False)
    with pytest.raises(OtherProblem) as nothing:
        register.get(make.actor(w.keeper), made.pk)
    assert nothing.value.status == 404
    with pytest.raises(Refused, match="turned off"):
        links.by_link(link)
    with pytest.raises(NotFound):
        links.by_link("nothing")


def test_only_those_who_were_named_send_it(w: World) -> None:
    other = make.person("Other", Role.KEEPER, w.store)
    with pytest.raises(NotAllowed, match="not among the people"):
        links.make(act(other))
    with pytest.raises(NotAllowed):
        links.make(act(w.guide))
    turn_on([w.keeper.pk, other.pk])
    links.make(act(other))


def test_only_an_administrator_of_all_rooms_sets_it_up(w: World) -> None:
    with pytest.raises(NotAllowed):
        access.put(act(w.keeper), on=True, senders=[w.keeper.pk])
    with pytest.raises(Invalid, match="Choose who"):
        turn_on([])
    with pytest.raises(Invalid, match="from the list"):
        turn_on([w.guide.pk])


# ---------------------------------------------------------------------------------- its questions
def test_of_a_link_only_its_hash_is_kept(w: World) -> None:
    made, link = links.make(act(w.keeper))
    assert len(link) >= 43
    assert link not in json.dumps(list(Advice.objects.values()), default=str)
    assert links.by_link(link).pk == made.pk
    for near in (link[:-1], link + "A", link.swapcase(), str(made.pk), made.sha256, ""):
        with pytest.raises(NotFound) as wrong:
            links.by_link(near)
        assert link not in str(wrong.value.detail)


def test_answers_that_cannot_be_are_refused(w: World) -> None:
    made, _link = links.make(act(w.keeper))
    for wrong in (
        {"people": 0},
        {"people": 10_000},
        {"days": 0},
        {"children": 6},
        {"season": "monsoon"},
        {"activity": "juggling"},
        {"hazards": ["dragons"]},
        {"trained": ["everything"]},
    ):
        with pytest.raises(Invalid):
            links.answer(made, replace(CREW, **wrong))
    assert register.state_of(made) is State.WAITING


def test_the_same_answers_twice_are_one_and_others_make_the_draft_anew(w: World) -> None:
    made, _link = answered(w)
    assert links.answer(made, CREW).revision == made.revision
    more = links.answer(made, replace(CREW, people=40))
    assert more.revision == made.revision + 1
    assert more.answers is not None
    assert more.answers["people"] == 40
    with pytest.raises(Stale):
        edit(w, made)


def test_once_it_was_sent_the_answers_stay(w: World) -> None:
    made, _link = answered(w)
    send(w, made)
    with pytest.raises(AlreadyAnswered, match="already been sent"):
        links.answer(made, replace(CREW, people=40))


# ------------------------------------------------------------------------------------- its draft
def test_the_same_answers_make_the_same_draft(w: World) -> None:
    assert drafts.make(CREW) == drafts.make(CREW)


def test_every_need_is_answered_in_both_languages_and_no_medicine_gets_in(w: World) -> None:
    draft = drafts.make(CREW)
    items = Item.objects.in_bulk([line.item for line in draft.lines])
    assert Kind.MEDICINE not in {item.kind for item in items.values()}
    served = set(ItemNeed.objects.filter(item__in=items).values_list("need__key", flat=True))
    omitted = {line.need for line in draft.not_carried}
    assert served | omitted >= set(Need.objects.active().values_list("key", flat=True))
    for line in draft.all_lines:
        assert line.reason["en-gb"] != line.reason["de"] != ""
    pain = next(line for line in draft.not_carried if line.need == "headache")
    assert "only medicines" in pain.reason["en-gb"]


@pytest.mark.parametrize("trips", [0, 1])
def test_every_reason_agrees_with_that_of_a_list_that_is_drafted(w: World, trips: int) -> None:
    for need in Need.objects.active().exclude(pk__in=ItemNeed.objects.values("need")):
        serves(f"Thing for {need.key}", need.key)
    rare = Need.objects.get(key="small-wound")
    priors.state(act(w.adviser), rare, None, per_1000=Decimal("0.5"))
    if trips:
        past(w)
    proposal = propose(CREW.profile())
    drafted = {line.need.key: line for line in proposal.not_carried if line.need}
    advised = {line.need: line.reason["en-gb"] for line in drafts.make(CREW).not_carried}
    assert set(drafted) - {"small-wound"}
    for key, line in drafted.items():
        unknown = line.key in proposal.undecided
        expected = advice_texts.no_rate() if unknown else line.words
        assert advised[key] == expected or "medicines" in advised[key]
    assert "out of 100 trips like this" in advised["small-wound"]


def test_a_saw_crew_without_training_is_told_not_to_go_without(w: World) -> None:
    draft = drafts.make(CREW)
    tourniquet = Item.objects.get(name="Tourniquet")
    assert tourniquet.pk not in [line.item for line in draft.lines]
    bleeding = next(line for line in draft.not_carried if line.need == "severe-bleeding")
    assert "Do not go without" in bleeding.reason["en-gb"]
    assert "severe-bleeding" in draft.cannot


def test_with_training_it_carries_what_the_hazard_asks_for(w: World) -> None:
    draft = drafts.make(replace(CREW, trained=["severe-bleeding"]))
    tourniquet = Item.objects.get(name="Tourniquet")
    (line,) = [line for line in draft.lines if line.item == tourniquet.pk]
    assert line.quantity >= 2
    assert "severe-bleeding" not in draft.cannot


def test_without_training_the_other_item_is_carried_and_it_says_so(w: World) -> None:
    bandage = serves("Pressure bandage", "severe-bleeding")
    draft = drafts.make(CREW)
    tourniquet = Item.objects.get(name="Tourniquet")
    assert bandage.pk in [line.item for line in draft.lines]
    (line,) = [line for line in draft.not_carried if line.item == tourniquet.pk]
    assert "trained" in line.reason["en-gb"]


def test_a_draft_never_lacks_what_is_bound(w: World) -> None:
    for key in Need.objects.filter(group=NeedGroup.SEVERE).values_list("key", flat=True):
        serves(f"Thing for {key}", key)
    for hazards in ([], ["sharp-tools"], ["water", "fire"], ["winter", "remote", "hill"]):
        for hours in ("0", "9"):
            answers = replace(CREW, hazards=hazards, hours_to_care=hours)
            drafts.check(drafts.make(answers), answers.trained)


# ------------------------------------------------------------------------------------- its sending
def test_nothing_is_sent_before_it_is_answered(w: World) -> None:
    made, _link = links.make(act(w.keeper))
    with pytest.raises(Refused, match="no draft"):
        send(w, made)


def test_the_duty_of_care_is_confirmed_first(w: World) -> None:
    made, _link = answered(w)
    with pytest.raises(Unacceptable, match="duty of care"):
        send(w, made, duty_confirmed=False)


def test_what_is_sent_is_kept_whole_and_for_ever(w: World) -> None:
    made, _link = answered(w, replace(CREW, trained=["severe-bleeding"]))
    copy = send(w, made)
    today = clock.today("UTC")
    assert today + timedelta(days=364) <= copy.not_after <= today + timedelta(days=366)
    english, german = (copy.text["languages"][each] for each in ("en-gb", "de"))
    assert english["statement"] == str(advice_texts.STATEMENT)
    assert german["statement"] != english["statement"]
    assert english["weight"] == "160 g"
    for page in (english, german):
        assert page["trip"] and page["lines"] and page["not_carried"] and page["sources"]
        assert all(page["headings"].values())
    for name in ("title", "not_after", "cost", "caution", "no_medicines", "sent"):
        assert english[name] != german[name], name
    with pytest.raises(DatabaseError), transaction.atomic():
        AdviceCopy.objects.filter(pk=copy.pk).update(number=9)


def test_a_day_that_is_past_or_too_far_is_refused(w: World) -> None:
    made, _link = answered(w)
    today = clock.today("UTC")
    for day in (today - timedelta(days=2), today + timedelta(days=400)):
        with pytest.raises(Invalid):
            send(w, made, not_after=day)
    assert send(w, made, not_after=today + timedelta(days=30)).not_after < today + timedelta(40)


def test_a_correction_takes_its_place_and_the_old_copy_stays(w: World) -> None:
    made, link = answered(w)
    first = send(w, made)
    shears = Item.objects.get(name="Shears")
    edit(w, Advice.objects.get(pk=made.pk), lines=[Line(shears.pk, 3, WORDS)])
    second = send(w, made)
    assert (first.number, second.number) == (1, 2)
    latest = register.latest_copy(links.by_link(link))
    assert latest is not None and latest.text["languages"]["en-gb"]["lines"][0]["quantity"] == 3
    again = register.copy(make.actor(w.keeper), made.pk, 1)
    assert again.text == first.text


def test_it_is_withdrawn_in_one_act_and_for_good(w: World) -> None:
    made, link = answered(w)
    send(w, made)
    with pytest.raises(Invalid):
        sending.withdraw(act(w.keeper), made, reason=" ")
    sending.withdraw(act(w.keeper), made, reason="A recall.")
    found = links.by_link(link)
    assert register.state_of(found) is State.WITHDRAWN
    assert (found.withdrawal.reason, found.withdrawal.person) == ("A recall.", w.keeper)
    for late in (
        lambda: sending.withdraw(act(w.keeper), made, reason="Again."),
        lambda: send(w, made),
        lambda: links.answer(made, CREW),
        lambda: edit(w, made),
    ):
        with pytest.raises(Refused, match="withdrawn"):
            late()


def test_a_solo_week_and_the_largest_group_are_answered(w: World) -> None:
    for answers in (
        Answers(people=1, days=7, season="summer", hours_to_care="12"),
        Answers(people=1000, days=365, season="winter", children=1000),
    ):
        made, _link = answered(w, answers)
        assert send(w, made).number == 1


def test_it_says_how_many_of_our_trips_were_such_trips(w: World) -> None:
    crew = replace(CREW, activity="caving")
    past(w, activity=Activity.objects.get(key="caving"))
    sources = [
        send(w, answered(w, answers)[0]).text["languages"]["en-gb"]["sources"][0]
        for answers in (crew, CREW, replace(CREW, activity=""))
    ]
    assert sources == [
        "Our own records of 1 trip. 1 of them was for “caving”.",
        "Our own records of 1 trip. None of them was for “work party”.",
        "Our own records of 1 trip.",
    ]
