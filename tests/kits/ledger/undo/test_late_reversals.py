"""Mistakes put right late: what later acts were built on stays, whatever is taken back."""

from typing import Any

import pytest

from gearroom.core.acts import Refused
from gearroom.core.models import Person
from kits.models import AsFound, Checkout, Entry, WithheldKind, Withholding
from kits.services.custody import custody, passing_on
from kits.services.kits import holds
from kits.services.ledger import audit
from kits.services.ledger.undo import reversal
from kits.services.restocking import sorting as turnaround
from tests.kits.factories import World, act, fresh, units, world

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> World:
    return world()


def out(school: World, person: Person | None = None) -> custody.CheckOut:
    return custody.check_out(
        act(school.keeper), school.day_01, person=person or school.guide, already_gone=True
    )


def back(school: World, **more: Any) -> custody.CheckIn:
    return custody.check_in(act(school.keeper), school.day_01, **more)


def reverse(school: World, entry: Entry) -> reversal.Reversed:
    return reversal.reverse(act(school.keeper), entry.pk)


def test_a_hand_back_undone_after_the_kit_went_and_came_back_again_ends_when_it_went(
    school: World,
) -> None:
    first_out = out(school)
    first = back(school)
    second_out = out(school, school.instructor)
    second = back(school)

    reverse(school, first.entry)

    assert not Checkout.objects.filter(in_at=None).exists()
    assert Checkout.objects.get(opened_by=first_out.entry).closed_by == second_out.entry
    assert fresh(school.day_01).to_sort_since == second.entry.occurred_at
    assert list(audit.findings()) == []


def test_of_two_hand_backs_the_second_stands_when_the_first_is_undone(school: World) -> None:
    out(school)
    first, second = back(school), back(school)

    reverse(school, first.entry)
    assert Checkout.objects.get().closed_by == second.entry
    assert list(audit.findings()) == []
    reverse(school, second.entry)

    assert Checkout.objects.get().in_at is None
    assert list(audit.findings()) == []


def test_a_kit_that_came_back_unsorted_still_waits_when_an_older_restock_is_undone(
    school: World,
) -> None:
    done = turnaround.restock(act(school.keeper), school.day_01)
    out(school)
    came = back(school, as_found=AsFound.SORT_LATER)

    reverse(school, done.entry)

    kit = fresh(school.day_01)
    assert kit.to_sort_since == came.entry.occurred_at
    assert kit.fit_until is None
    assert list(audit.findings()) == []


@pytest.mark.parametrize("sorting", ["look", "restock"])
def test_it_waits_again_when_what_sorted_it_is_undone(school: World, sorting: str) -> None:
    came = back(school)
    if sorting == "look":
        entry = turnaround.look_inside(act(school.keeper), school.day_01)
    else:
        entry = turnaround.restock(act(school.keeper), school.day_01).entry
    assert fresh(school.day_01).to_sort_since is None

    reverse(school, entry)

    assert fresh(school.day_01).to_sort_since == came.entry.occurred_at


def test_a_kit_reported_lost_twice_stays_lost_when_the_finding_between_is_undone(
    school: World,
) -> None:
    first = holds.mark_lost(act(school.keeper), school.day_01)
    found = holds.find_again(act(school.keeper), school.day_01)
    second = holds.mark_lost(act(school.keeper), school.day_01)

    reverse(school, found)
    reverse(school, second)

    assert fresh(school.day_01).lost_since == first.occurred_at
    assert list(audit.findings()) == []


def test_a_release_undone_once_the_kit_is_kept_back_again_keeps_it_back_since_the_first(
    school: World,
) -> None:
    first = holds.withhold(act(school.guide), school.day_01, WithheldKind.DRYING)
    let_go = holds.release(act(school.keeper), school.day_01, WithheldKind.DRYING)
    holds.withhold(act(school.guide), school.day_01, WithheldKind.DRYING)

    reverse(school, let_go)

    assert Withholding.objects.get(released=None).since == first
    assert list(audit.findings()) == []


def test_passing_on_undone_after_more_of_it_leaves_who_has_it(school: World) -> None:
    out(school)
    first = passing_on.pass_on(act(school.keeper), school.day_01, school.instructor)
    passing_on.pass_on(act(school.keeper), school.day_01, school.keeper)
    passing_on.pass_on(act(school.keeper), school.day_01, school.instructor)

    reverse(school, first.entry)

    assert Checkout.objects.get().person == school.instructor
    assert list(audit.findings()) == []


def test_what_a_reversed_act_moved_is_back_and_the_book_in_balance(school: World) -> None:
    lot, place = school.lots["shears"], school.shelf
    before = units(lot, place)
    done = turnaround.restock(act(school.keeper), school.day_01)
    reverse(school, done.entry)
    with pytest.raises(Refused):
        reverse(school, done.entry)
    assert units(lot, place) == before
    assert list(audit.findings()) == []
