"""What the events of an act say: a reader who folds them knows what the program knows."""

from datetime import timedelta
from typing import Any

import pytest

from gearroom.core import clock
from kits.models import Entry, Event, WithheldKind
from kits.services.custody import custody, passing_on
from kits.services.kits import holds, kits
from kits.services.ledger.undo import reversal
from kits.services.recalls import closing, recalls
from kits.services.trips import reservations, trips
from kits.services.trips.trip_facts import TripFacts
from tests.kits.events.reader import Reader
from tests.kits.factories import World, act, fresh, trip, world
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> World:
    return world()


def up_to_date() -> Reader:
    """A reader who read all so far."""
    reader = Reader()
    reader.read()
    return reader


def take(school: World, **more: Any) -> Entry:
    return custody.check_out(
        act(school.keeper), school.day_01, person=school.guide, already_gone=True, **more
    ).entry


def test_a_reader_knows_who_has_a_kit_through_mistakes_put_right(school: World) -> None:
    reader = up_to_date()
    taken = take(school)
    assert reader.read() == ["kit.checked_out"]
    passed = passing_on.pass_on(act(school.guide), school.day_01, school.instructor)
    assert reader.read() == ["kit.passed_on"]
    assert reader.holders == {(school.day_01.pk, None): school.instructor.pk}
    reversal.reverse(act(school.keeper), passed.entry.pk)
    assert reader.read() == ["act.undone", "kit.custody_corrected"]
    assert reader.holders == {(school.day_01.pk, None): school.guide.pk}
    back = custody.check_in(act(school.guide), school.day_01)
    assert reader.read() == ["kit.checked_in"]
    reader.check()
    reversal.reverse(act(school.keeper), back.entry.pk)
    assert reader.read() == ["act.undone", "kit.custody_corrected"]
    reader.check()
    assert reader.holders == {(school.day_01.pk, None): school.guide.pk}
    reversal.reverse(act(school.keeper), taken.pk)
    assert reader.read() == ["act.undone", "kit.custody_corrected"]
    reader.check()
    assert reader.holders == {}


def test_who_took_a_kit_that_was_out_has_it_and_nobody_else(school: World) -> None:
    reader = up_to_date()
    take(school)
    custody.check_out(
        act(school.keeper), school.day_01, person=school.instructor, already_gone=True
    )
    assert reader.read() == ["kit.checked_out", "kit.checked_out"]
    assert reader.holders == {(school.day_01.pk, None): school.instructor.pk}
    reader.check()


def test_a_report_that_comes_late_changes_nothing_of_now(school: World) -> None:
    reader = up_to_date()
    before = clock.now() - timedelta(hours=3)
    take(school)
    custody.check_in(act(school.guide, claimed_at=before), school.day_01)
    reader.read()
    reader.check()
    assert Event.objects.get(type="kit.checked_in").data["late"] is True


def test_a_hold_says_all_reasons_that_are_left(school: World) -> None:
    reader = up_to_date()
    kit = school.day_01
    holds.withhold(act(school.guide), kit, WithheldKind.DRYING)
    wrong = holds.withhold(act(school.guide), fresh(kit), WithheldKind.SOMETHING_WRONG)
    assert reader.read() == ["kit.withheld", "kit.withheld"]
    assert reader.on_hold == {kit.pk: sorted([WithheldKind.DRYING, WithheldKind.SOMETHING_WRONG])}
    holds.release(act(school.keeper), fresh(kit), WithheldKind.DRYING)
    assert reader.read() == ["kit.released"]
    reader.check()
    reversal.reverse(act(school.keeper), wrong.pk)
    assert reader.read() == ["act.undone", "kit.released"]
    assert reader.on_hold == {}


def test_a_trip_that_is_cancelled_frees_its_kits(school: World) -> None:
    reader = up_to_date()
    walk = trip("Ridge walk", school.store, 2, 2)
    reservations.reserve(act(school.keeper), school.day_01, walk)
    assert reader.read() == ["reservation.made"]
    assert reader.reserved == {(school.day_01.pk, walk.pk)}
    facts = TripFacts(
        name=walk.name,
        room=school.store,
        departs_at=walk.departs_at,
        returns_at=walk.returns_at,
        people=8,
        cancelled=True,
    )
    trips.put(act(school.keeper), walk.source, walk.reference, facts)
    read = reader.read()
    assert sorted(read) == ["reservation.released", "trip.cancelled"]
    assert Event.objects.get(type="trip.cancelled").data["cancelled"] is True
    assert reader.reserved == set()


def test_a_recall_names_its_batches_and_its_end(school: World) -> None:
    reader = up_to_date()
    dressings = school.dressings
    recall = recalls.start(
        act(school.keeper), item=dressings.item, scope="number", number=dressings.number
    )
    assert "lot.recalled" in reader.read()
    assert Event.objects.get(type="lot.recalled").data["lots"] == [dressings.pk]
    reader.check()
    closing.close(act(school.adviser), recall, "withdrawn", published_at="A letter of 3 May")
    assert "recall.closed" in reader.read()
    reader.check()


def test_what_was_refused_has_no_event(school: World) -> None:
    reader = up_to_date()
    with refused("who-takes-it", 422):
        custody.check_out(act(school.keeper), school.day_01)
    assert reader.read() == []


def test_a_kit_that_moves_home_is_an_event_of_both_rooms(school: World) -> None:
    kits.move_home(act(), school.day_02, school.hut)
    moved = Event.objects.get(type="kit.changed")
    assert {moved.room, moved.other_room} == {school.store, school.hut}


def test_undoing_that_somebody_else_takes_a_reserved_kit_leaves_it_reserved(school: World) -> None:
    reader = up_to_date()
    walk = trip("Ridge walk", school.store, 2, 2)
    reservations.reserve(act(school.keeper), school.day_01, walk)
    again = reservations.reserve(act(school.keeper), school.day_01, walk, person=school.guide)
    assert again.entry is not None
    reversal.reverse(act(school.keeper), again.entry.pk)
    reader.read()
    reader.check()
