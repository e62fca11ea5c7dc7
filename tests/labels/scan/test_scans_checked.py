"""A kit left for sorting goes next morning: scanned, *checked now, all there*, taken out."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed
from kits.models import AsFound, Checkout, Entry
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.restocking import sealing
from labels.rules.codes.scans import Intent
from tests.kits import factories as make
from tests.labels.scan import scanned as at

pytestmark = pytest.mark.django_db


@pytest.fixture
def labels() -> at.Labelled:
    return at.labelled()


def left_for_sorting(labels: at.Labelled, **more: Any) -> None:
    world = labels.world
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)
    custody.check_in(make.act(world.guide), world.day_01, **more)


def test_a_kit_left_for_sorting_is_checked_by_one_tap_and_goes(labels: at.Labelled) -> None:
    world = labels.world
    left_for_sorting(labels)

    seen = at.one(world.guide, labels.kit.code)
    first = seen.next[0]
    assert (first.do, first.says) == ("look-inside", "Checked just now: everything is there")
    checked = at.one(world.guide, first.fields["text"], Intent(first.fields["intent"]))

    assert (checked.outcome, checked.says) == (
        "checked",
        ("DAY-01 has been checked: everything is there. Ready."),
    )
    assert checked.thing.may_go
    out = next(step for step in checked.next if step.do == "check-out")
    assert (
        at.one(world.guide, out.fields["text"], Intent.CHECK_OUT, holder=world.guide).outcome
        == "taken-out"
    )
    assert Checkout.objects.get(in_at=None).person == world.guide
    assert make.fresh(world.day_01).looked_inside_by == world.guide


def test_what_the_book_knows_to_be_missing_is_not_called_all_there(labels: at.Labelled) -> None:
    left_for_sorting(labels, used=[UseLine(labels.world.dressing, 1)])

    first = at.one(labels.world.guide, labels.kit.code).next[0]
    checked = at.one(labels.world.guide, labels.kit.code, Intent.LOOK_INSIDE)

    assert first.says == "Checked just now: everything matches the record"
    assert checked.says.startswith(
        "DAY-01 has been checked: everything is as on record. Ready, low on"
    )


def test_one_kit_is_checked_at_a_time_and_by_whoever_may(labels: at.Labelled) -> None:
    other = at.label(labels.world.day_02)

    with pytest.raises(Invalid):
        at.scanned(labels.world.guide, labels.kit.code, other.code, intent=Intent.LOOK_INSIDE)
    with pytest.raises(NotAllowed):
        at.one(labels.world.adviser, labels.kit.code, Intent.LOOK_INSIDE)
    assert not Entry.objects.filter(kind="look-inside").exists()


def test_a_kit_that_is_out_is_not_checked_at_the_hatch(labels: at.Labelled) -> None:
    world = labels.world
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)

    assert at.one(world.guide, labels.kit.code, Intent.LOOK_INSIDE).outcome == "kit-is-out"


# ---------------------------------------------------------------------------- how it comes back
def test_without_a_seal_on_record_it_comes_back_closed_and_with_one_sealed(
    labels: at.Labelled,
) -> None:
    world = labels.world
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)

    ways = at.one(world.guide, labels.kit.code).next
    assert [step.says for step in ways[:3]] == ["Closed, nothing used", "Sort later", "Opened"]
    back = at.one(world.guide, labels.kit.code, Intent.CHECK_IN, as_found=AsFound.CLOSED)
    assert back.says == "DAY-01 is back: closed, nothing used."
    assert [step.do for step in back.next] == ["undo"]

    sealing.reseal(make.act(world.guide), world.day_01, "0417")
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)
    ways = at.one(world.guide, labels.kit.code).next
    assert [step.says for step in ways[:3]] == ["Sealed and dry", "Sort later", "Opened"]


def test_a_kit_in_the_hand_that_is_shown_elsewhere_is_offered_the_way_it_can_come_back(
    labels: at.Labelled,
) -> None:
    world = labels.world
    custody.check_out(make.act(world.keeper), world.day_01, person=world.instructor)

    back = at.one(world.keeper, labels.kit.code, Intent.CHECK_OUT, holder=world.guide).next[0]

    assert back.says == "The kit is here and closed: hand it back for Ines"
    assert back.fields["as_found"] == AsFound.CLOSED
