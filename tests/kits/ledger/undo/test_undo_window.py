"""Who may take an act back: whoever did it, for a day; the room's keepers and instructors."""

from dataclasses import replace

import pytest

from gearroom.core import clock
from gearroom.core.acts import NotAllowed
from gearroom.core.rules.roles import Scope
from kits.models import Checkout, Entry
from kits.rules.ledger.undo import OWN_WITHIN
from kits.services.custody import custody, use
from kits.services.custody.use import UseLine
from kits.services.ledger.undo import reversal
from tests.kits.factories import World, act, caller, section as section_of, units, world
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> World:
    return world()


def taken_by_guide(school: World) -> Entry:
    return custody.check_out(act(school.guide), school.day_01, person=school.guide).entry


def test_a_guide_takes_back_what_they_did_a_moment_ago(school: World) -> None:
    entry = taken_by_guide(school)

    reversal.reverse(act(school.guide), entry.pk)

    assert not Checkout.objects.filter(in_at=None).exists()


def test_a_guide_does_not_take_back_what_another_did(school: World) -> None:
    entry = custody.check_out(act(school.keeper), school.day_01, person=school.guide).entry

    with pytest.raises(NotAllowed, match="keeper"):
        reversal.reverse(act(school.guide), entry.pk)


def test_after_a_day_it_needs_a_keeper(school: World) -> None:
    entry = taken_by_guide(school)
    later = clock.now() + OWN_WITHIN * 1.01

    with pytest.raises(NotAllowed, match="keeper"):
        reversal.reverse(act(school.guide, received_at=later), entry.pk)
    reversal.reverse(act(school.keeper, received_at=later), entry.pk)

    assert Entry.objects.get(reverses=entry).person == school.keeper


def test_what_later_acts_stand_on_stays_even_for_whoever_did_it(school: World) -> None:
    entry = taken_by_guide(school)
    custody.check_in(act(school.keeper), school.day_01)

    with refused("built-on"):
        reversal.reverse(act(school.guide), entry.pk)


def test_whoever_handed_in_another_rooms_kit_takes_that_back(school: World) -> None:
    back = custody.check_in(act(school.stranger), school.day_01)

    reversal.reverse(act(school.stranger), back.entry.pk)

    assert Entry.objects.filter(reverses=back.entry).exists()


def test_a_token_needs_the_scope_for_it(school: World) -> None:
    entry = taken_by_guide(school)
    mine = act(school.guide)
    reader = replace(mine, actor=replace(mine.actor, scopes=frozenset({Scope.READ})))

    with pytest.raises(NotAllowed, match="scope"):
        reversal.reverse(reader, entry.pk)


def test_the_door_lets_a_guide_take_back_their_own(school: World) -> None:
    used = use.log_use(act(school.guide), school.day_01, [UseLine(school.dressing, 2)])

    answer = caller(school.guide).post(f"entries/{used.entry.pk}/reverse/", {})

    assert answer.status_code == 201
    assert units(school.dressings, section_of(school.day_01)) == 6
