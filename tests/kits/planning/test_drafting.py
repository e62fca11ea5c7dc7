"""A list drafted for a trip that somebody describes, by service and API."""

import json
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from gearroom.core.acts import Invalid, Refused
from kits.models import Activity, HazardNeed, Item, ItemNeed, Need, PackingList, WhyNotCarried
from kits.rules.ledger.facts import Criticality
from kits.services.custody.use import UseLine
from kits.services.ledger import hazards_covered
from kits.services.lists import drafts
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft
from kits.services.planning import drafted_lists
from kits.services.planning.drafting import Profile, propose
from kits.services.planning.records import priors
from tests.core.api.made import Caller, is_problem
from tests.kits import factories as make
from tests.kits.factories import World, act, world
from tests.kits.planning.school import past, serve

pytestmark = pytest.mark.django_db

DAY = Profile(people=8, days=1)


@pytest.fixture
def w() -> World:
    made = world()
    serve(made)
    return made


def need(key: str) -> Need:
    return Need.objects.get(key=key)


def asks(hazard: str, key: str, units: int, reason: str = "It happens.") -> None:
    HazardNeed.objects.filter(hazard=hazard).delete()
    HazardNeed.objects.create(hazard=hazard, need=need(key), units=units, reason=reason)


def test_what_a_hazard_asks_for_is_carried_with_its_reason(w: World) -> None:
    asks("sharp-tools", "small-wound", 5, "Tools cut.")
    found = propose(replace(DAY, hazards=["sharp-tools"]))
    (line,) = [each for each in found.lines if each.item == w.dressing]
    assert (line.quantity, line.minimum) == (5, 5)
    assert "Tools cut." in line.reason
    made = drafted_lists.make_list(act(w.keeper), found, name="SAW-09")
    assert hazards_covered.lacking_needs(made) == []


def test_every_need_is_answered_by_a_line_or_a_reason(w: World) -> None:
    found = propose(DAY)
    served = {each.key for line in found.lines for each in line.needs}
    left = {line.need.key for line in found.not_carried if line.need}
    assert served | left == set(Need.objects.active().values_list("key", flat=True))
    assert not served & left
    assert all(line.words for line in found.not_carried)


def test_it_starts_from_a_list_and_keeps_what_serves_no_need(w: World) -> None:
    like = w.day_01.list_version
    found = propose(replace(DAY, like=like))
    was = {line.item: line for section in drafts.draft_of(like).sections for line in section.lines}
    now = {line.item: line for line in found.lines}
    for item, line in was.items():
        if not ItemNeed.objects.filter(item=item).exists():
            assert (now[item].quantity, now[item].was) == (line.carry, line.carry)
    assert {*now, *found.dropped} >= set(was)


def test_one_act_makes_it_the_next_version_with_items_where_they_were(w: World) -> None:
    like = w.day_01.list_version
    found = propose(replace(DAY, like=like))
    made = drafted_lists.make_version(act(w.keeper), found)
    assert (made.packing_list, made.number) == (like.packing_list, like.number + 1)
    assert made.published_at is None
    before, after = drafts.draft_of(like), drafts.draft_of(made)
    assert [s.key for s in after.sections][: len(before.sections)] == [
        s.key for s in before.sections
    ]
    with pytest.raises(Refused, match="already a draft"):
        drafted_lists.make_version(act(w.keeper), found)


def test_a_new_list_has_sections_by_what_things_are_for(w: World) -> None:
    asks("sharp-tools", "small-wound", 2)
    found = propose(replace(DAY, hazards=["sharp-tools"]))
    made = drafted_lists.make_list(act(w.keeper), found, name="SAW-09")
    (section,) = drafts.draft_of(made).sections
    assert section.name == "Wounds and bleeding"
    assert list(made.hazards) == ["sharp-tools"]


def test_a_draft_without_a_list_to_start_from_is_no_next_version(w: World) -> None:
    with pytest.raises(Invalid, match="Choose the kit list"):
        drafted_lists.make_version(act(w.keeper), propose(DAY))
    assert PackingList.objects.count() == 1


def test_what_was_decided_stays_as_it_was_decided(w: World) -> None:
    line = NotCarriedDraft(WhyNotCarried.ELSEWHERE, need=need("spine"), instead="the big bag")
    like = drafts.new_draft(act(w.keeper), w.day_01.list_version.packing_list)
    like = drafts.edit_draft(
        act(w.keeper), like, replace(drafts.draft_of(like), not_carried=[line])
    )
    found = propose(replace(DAY, like=like))
    (same,) = [each for each in found.not_carried if each.need == need("spine")]
    assert (same.why, same.instead) == (WhyNotCarried.ELSEWHERE, "the big bag")


def test_what_is_carried_when_care_is_far_is_carried_then(w: World) -> None:
    line = NotCarriedDraft(
        WhyNotCarried.NOT_NEEDED,
        need=need("headache"),
        when=CarriedWhen(hours_to_care=Decimal(6)),
    )
    like = drafts.new_draft(act(w.keeper), w.day_01.list_version.packing_list)
    draft = drafts.draft_of(like)
    without = [
        replace(s, lines=[each for each in s.lines if each.item != w.tablets])
        for s in draft.sections
    ]
    like = drafts.edit_draft(
        act(w.keeper), like, replace(draft, sections=without, not_carried=[line])
    )
    near, far = (propose(replace(DAY, like=like, hours_to_care=Decimal(hours))) for hours in (5, 6))
    assert w.tablets not in [each.item for each in near.lines]
    assert w.tablets in [each.item for each in far.lines]
    assert need("headache") not in [each.need for each in far.not_carried]


def test_nobody_trained(w: World) -> None:
    asks("sharp-tools", "small-wound", 1)
    ItemNeed.objects.filter(item=w.dressing).update(needs_training=True)
    profile = replace(DAY, hazards=["sharp-tools"])
    (warned,) = propose(replace(profile, trained_for=frozenset())).lines
    assert warned.untrained
    assert warned.reason.startswith("Nobody in the group is trained for this")
    (line,) = propose(replace(profile, trained_for=frozenset({"small-wound"}))).lines
    assert not line.untrained


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"children": 9}, "children"),
        ({"hazards": ["dragons"]}, "hazards"),
        ({"trained_for": frozenset({"sorcery"})}, "trained_for"),
    ],
)
def test_what_cannot_be_is_refused(w: World, wrong: dict[str, Any], field: str) -> None:
    with pytest.raises(Invalid) as error:
        propose(replace(DAY, **wrong))
    assert field in error.value.facts["errors"]


# --------------------------------------------------------------------------------------- the API
def drafted(caller: Caller, **body: Any) -> Any:
    answer = caller.post("plans/draft/", {"people": 8, "days": 1, **body})
    assert answer.status_code == 200, answer.content
    return json.loads(answer.content)


def test_the_api_answers_lines_and_what_is_not_carried(w: World) -> None:
    asks("fire", "small-wound", 2)
    caller = make.caller(w.guide)
    found = drafted(caller, hazards=["fire"], trained_for=[], hours_to_care="0.5")
    (line,) = [each for each in found["lines"] if each["item"] == w.dressing.pk]
    assert line["need"] == ["small-wound"]
    assert (line["quantity"], line["minimum"], line["priority"]) == (2, 2, "important")
    assert all(each["quantity"] == 0 and each["reason"] for each in found["not_carried"])
    assert "medical adviser" in found["caution"]
    assert found == drafted(caller, hazards=["fire"], trained_for=[], hours_to_care="0.5")


def test_the_api_starts_from_a_list(w: World) -> None:
    like = w.day_01.list_version
    found = drafted(make.caller(w.keeper), list=like.packing_list_id, version=like.number)
    assert any(each["was"] for each in found["lines"])
    assert {each["priority"] for each in found["lines"]} <= {each.value for each in Criticality}


@pytest.mark.parametrize(
    ("body", "status", "kind"),
    [
        ({"people": 0}, 400, "invalid-request"),
        ({"season": "monsoon"}, 400, "invalid-request"),
        ({"list": 1}, 400, "invalid-request"),
        ({"children": 9}, 422, "cannot-be-right"),
        ({"activity": "bathing"}, 404, "not-found"),
    ],
)
def test_the_api_refuses_what_cannot_be(
    w: World, body: dict[str, Any], status: int, kind: str
) -> None:
    sent = {"people": 8, "days": 1, **body}
    is_problem(make.caller(w.keeper).post("plans/draft/", sent), status, kind)


def test_what_a_new_line_is_for_may_be_the_name_of_a_section_that_is_there(w: World) -> None:
    asks("sharp-tools", "small-wound", 2)
    like = drafts.make_list(
        act(w.keeper),
        name="SAW-01",
        draft=Draft(5, 1, sections=[SectionDraft("wounds and Bleeding", [LineDraft(w.gauge, 1)])]),
    )
    found = propose(replace(DAY, like=like, hazards=["sharp-tools"]))
    (section,) = drafted_lists.as_draft(found).sections
    assert {line.item for line in section.lines} >= {w.gauge, w.dressing}
    drafted_lists.make_list(act(w.keeper), found, name="SAW-02")


def test_what_is_retired_is_dropped_by_name_and_never_on_a_new_draft(w: World) -> None:
    like = w.day_01.list_version
    Item.objects.filter(pk=w.dressing.pk).update(retired_on="2026-01-01")
    found = propose(replace(DAY, like=like))
    assert w.dressing in found.dropped
    assert w.dressing not in [line.item for line in found.lines]
    drafted_lists.make_list(act(w.keeper), found, name="DAY-09")


def test_the_list_is_made_for_what_the_season_and_the_way_to_care_bring(w: World) -> None:
    found = propose(
        replace(DAY, season="winter", hours_to_care=Decimal(6), hazards=["sharp-tools"])
    )
    made = drafted_lists.make_list(act(w.keeper), found, name="DAY-09")
    assert set(made.hazards) == {"sharp-tools", "winter", "remote"}


def test_what_is_likely_says_how_often_and_a_life_is_named(w: World) -> None:
    priors.state(act(w.adviser), need("small-wound"), None, per_1000=Decimal(100))
    found = propose(DAY)
    (line,) = [each for each in found.lines if each.item == w.dressing]
    assert (
        "out of 100 trips like this. From the rate that was entered or published; "
        "no trip is on record" in line.reason
    )
    ItemNeed.objects.create(item=w.shears, need=need("severe-bleeding"))
    found = propose(DAY)
    (line,) = [each for each in found.lines if each.item == w.shears]
    assert line.reason == "Severe bleeding from a limb: somebody’s life can depend on it."


def test_a_reason_says_by_which_trips_it_is_known(w: World) -> None:
    activity = Activity.objects.get(key="gorge-walking")
    for _ in range(2):
        past(w, UseLine(w.dressing, 4), activity=activity)
    here = propose(replace(DAY, activity=activity))
    other = propose(replace(DAY, activity=Activity.objects.get(key="caving")))
    (there,) = [line.reason for line in here.lines if line.item == w.dressing]
    (elsewhere,) = [line.reason for line in other.lines if line.item == w.dressing]
    assert "16 participant-days." in there
    assert "All trips" not in there
    assert "All trips: Needed" in elsewhere


def test_what_is_still_to_decide_is_not_written_as_decided(w: World) -> None:
    found = propose(DAY)
    made = drafted_lists.make_list(act(w.keeper), found, name="NEW-01")
    keys = {line.key for line in drafts.draft_of(made).not_carried}
    assert found.undecided
    assert keys == {line.key for line in found.not_carried} - found.undecided


def test_what_nothing_is_known_of_stands_apart_until_somebody_decides(w: World) -> None:
    found = propose(DAY)
    spine = f"need-{need('spine').pk}"
    assert spine in found.undecided <= {line.key for line in found.not_carried}
    line = NotCarriedDraft(WhyNotCarried.ELSEWHERE, need=need("spine"))
    like = drafts.new_draft(act(w.keeper), w.day_01.list_version.packing_list)
    like = drafts.edit_draft(
        act(w.keeper), like, replace(drafts.draft_of(like), not_carried=[line])
    )
    assert spine not in propose(replace(DAY, like=like)).undecided


def test_of_two_items_for_a_need_the_must_have_stays_and_with_its_own_reason(w: World) -> None:
    ItemNeed.objects.create(item=w.shears, need=need("small-wound"), best=True)
    lines = [
        LineDraft(w.shears, 3, 0, Criticality.IMPORTANT),
        LineDraft(w.dressing, 5, 2, Criticality.MUST_HAVE, "It stops a bleed."),
    ]
    draft = Draft(8, 1, sections=[SectionDraft("Main", lines)])
    like = drafts.make_list(act(w.keeper), name="Like", draft=draft)
    found = {line.item: line for line in propose(replace(DAY, like=like)).lines}
    assert (found[w.shears].quantity, found[w.dressing].quantity) == (3, 5)
    assert found[w.dressing].reason == "It stops a bleed."
