"""What a version leaves out on purpose, and hazards that bind a list."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from gearroom.core.acts import Invalid
from kits.models import ItemNeed, Need, PackingListVersion, WhyNotCarried
from kits.rules.ledger import ReasonCode
from kits.services.ledger import hazards_covered, readiness, verdicts
from kits.services.lists import drafts, not_carried, publishing, signatures
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft
from kits.services.planning import vocabulary
from kits.services.text import reason_texts
from tests.kits import factories as make
from tests.kits.factories import World, act, world

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return world()


def bleeding() -> Need:
    return Need.objects.get(key="severe-bleeding")


def draft(w: World, *lines: NotCarriedDraft, hazards: Sequence[str] = ()) -> Draft:
    main = SectionDraft("Main", [LineDraft(w.dressing, 4)])
    return Draft(people=8, days=1, hazards=hazards, sections=[main], not_carried=lines)


def made(w: World, *lines: NotCarriedDraft, hazards: Sequence[str] = ()) -> PackingListVersion:
    return drafts.make_list(
        act(w.keeper), name="Work party", draft=draft(w, *lines, hazards=hazards)
    )


WHY = NotCarriedDraft(
    WhyNotCarried.NO_TRAINING,
    words="Nobody has done the course.",
    instead="Pressure and a bandage.",
    when=CarriedWhen(("sharp-tools",), ("work-party",), None),
    look_again_after="the spring course",
)


def test_it_is_kept_copied_to_the_next_draft_and_edited(w: World) -> None:
    first = made(w, replace(WHY, need=bleeding()), replace(WHY, item=w.gauge))
    publishing.publish(act(w.keeper), first)
    second = drafts.new_draft(act(w.keeper), first.packing_list)
    assert not_carried.of(second) == not_carried.of(first)
    assert [line.name for line in not_carried.of(second)] == [str(bleeding()), w.gauge.name]
    drafts.edit_draft(act(w.keeper), second, draft(w, replace(WHY, item=w.gauge)))
    assert [line.name for line in not_carried.of(second)] == [w.gauge.name]
    assert len(not_carried.of(first)) == 2


@pytest.mark.parametrize(
    "wrong",
    [
        lambda w: [WHY],
        lambda w: [replace(WHY, item=w.gauge, need=bleeding())],
        lambda w: [replace(WHY, item=w.gauge), replace(WHY, item=w.gauge)],
        lambda w: [replace(WHY, item=w.dressing)],
        lambda w: [replace(WHY, item=w.gauge, why=WhyNotCarried.OTHER, words=" ")],
        lambda w: [replace(WHY, item=w.gauge, when=CarriedWhen(("dragons",)))],
        lambda w: [replace(WHY, item=w.gauge, when=CarriedWhen((), ("jousting",)))],
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(w: World, wrong: object) -> None:
    with pytest.raises(Invalid) as refused:
        made(w, *wrong(w))  # type: ignore[operator]
    assert "not_carried" in str(vars(refused.value))


def test_a_list_that_serves_a_hazard_and_carries_nothing_for_it_says_so(w: World) -> None:
    serve(w)
    short = hazards_covered.lacking_needs(made(w, hazards=["sharp-tools"]))
    assert bleeding() in {each.need for each in short}
    assert all(each.says and each.reason for each in short)


def serve(w: World) -> None:
    """Everything that sharp tools ask for has an item, which the list does not carry."""
    for key in ("severe-bleeding", "large-wound"):
        ItemNeed.objects.create(item=w.gauge, need=Need.objects.get(key=key))


def signed(w: World, version: PackingListVersion) -> PackingListVersion:
    publishing.publish(act(w.keeper), version, anyway=True)
    return signatures.sign(act(w.adviser), version, until=make.days(100))


def hazards_of(w: World, version: PackingListVersion) -> frozenset[str]:
    kit = make.kit("WORK-01", version, w.store)
    return readiness.states([kit.pk])[kit.pk].hazards


def test_it_does_not_suit_such_a_trip(w: World) -> None:
    serve(w)
    assert hazards_of(w, signed(w, made(w, hazards=["sharp-tools", "hill"]))) == {"hill"}


def test_and_every_verdict_says_what_is_lacking(w: World) -> None:
    serve(w)
    version = signed(w, made(w, hazards=["sharp-tools", "hill"]))
    kit = make.kit("WORK-01", version, w.store)
    trip = make.trip("Hedge", w.store, hazards=["sharp-tools", "winter"])
    verdict = verdicts.verdict(kit, trip.last_day, trip)
    [why] = [each for each in verdict.reasons if each.code == ReasonCode.HAZARDS_NOT_SERVED]
    lacks = "nothing for “severe bleeding from a limb”, “large wound” ({})".format(
        "saws, axes and other sharp tools"
    )
    told = reason_texts.reason(why)
    assert told["text"] == (
        f"None of the trip’s kits is made for: snow and ice. The trip’s kits carry {lacks}."
    )
    assert reason_texts.brief(why) == f"carries {lacks}; not made for snow and ice"
    assert told["facts"]["gaps"]["sharp-tools"][0] == {
        "need": "severe bleeding from a limb",
        "carried": 0,
    }


def test_a_retired_need_is_asked_for_until_no_hazard_asks_for_it(w: World) -> None:
    serve(w)
    needs = Need.objects.filter(key__in=("severe-bleeding", "large-wound"))
    for need in needs:
        vocabulary.retire(act(w.keeper), need)
    version = made(w, hazards=["sharp-tools"])
    assert {each.need for each in hazards_covered.lacking_needs(version)} == set(needs)
    for need in needs:
        vocabulary.remove_hazard_need(act(w.keeper), "sharp-tools", need)
    assert hazards_of(w, signed(w, version)) == {"sharp-tools"}


def test_unless_a_signed_line_says_why(w: World) -> None:
    serve(w)
    lines = [
        replace(WHY, need=Need.objects.get(key=key)) for key in ("severe-bleeding", "large-wound")
    ]
    version = made(w, *lines, hazards=["sharp-tools"])
    publishing.publish(act(w.keeper), version)
    assert hazards_of(w, version) == frozenset()
    signatures.sign(act(w.adviser), version, until=make.days(100))
    kit = version.kits.get()
    assert readiness.states([kit.pk])[kit.pk].hazards == {"sharp-tools"}


def test_a_need_that_nothing_is_said_to_serve_yet_binds_nobody(w: World) -> None:
    assert hazards_of(w, signed(w, made(w, hazards=["sharp-tools"]))) == {"sharp-tools"}
