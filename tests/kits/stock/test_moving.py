"""Moving within a room, and between rooms through transit."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from gearroom.core.models import Person
from kits.models import Entry, EntryKind, Holding, Lot, Movement, Place, PlaceKind
from kits.services.ledger import audit, verdicts
from kits.services.ledger.book import room_place
from kits.services.recalls import closing, recalls
from kits.services.stock import moving
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def move(
    w: make.World, lot: Lot, units: Any, source: Place, target: Place, who: Person | None = None
) -> Entry:
    return moving.move(
        make.act(who or w.keeper), lot=lot, units=units, source=source, target=target
    )


def refused(w: make.World, *what: Any) -> str:
    before = list(Holding.objects.order_by("pk").values())
    with pytest.raises(Refused) as problem:
        move(w, *what)
    assert list(Holding.objects.order_by("pk").values()) == before
    return problem.value.code


def test_it_moves_units_between_shelves(w: make.World) -> None:
    entry = move(w, w.dressings, 5, w.shelf, w.upper)
    assert (make.units(w.dressings, w.shelf), make.units(w.dressings, w.upper)) == (7, 5)
    assert (entry.kind, entry.room) == (EntryKind.MOVE, w.store)


def test_what_was_set_aside_for_training_never_comes_back(w: make.World) -> None:
    box = room_place(w.store, PlaceKind.TRAINING)
    move(w, w.dressings, 2, w.shelf, box)
    assert refused(w, w.dressings, 1, box, w.shelf) == "training-never-back"
    move(w, w.dressings, 1, box, room_place(w.store, PlaceKind.QUARANTINE))


def test_a_recalled_batch_does_not_leave_quarantine_for_a_shelf_or_for_training(
    w: make.World,
) -> None:
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D2")
    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    for target in (w.shelf, room_place(w.store, PlaceKind.TRAINING)):
        assert refused(w, w.lots["d2"], 1, quarantine, target) == "recalled"


def test_a_batch_cleared_of_its_recall_goes_back_on_the_shelf(w: make.World) -> None:
    recall = recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D2")
    closing.close(make.act(w.adviser), recall, "withdrawn", published_at="maker.example/7")
    move(w, w.lots["d2"], 10, room_place(w.store, PlaceKind.QUARANTINE), w.shelf)
    assert make.units(w.lots["d2"], w.shelf) == 10


def test_what_is_out_of_date_leaves_quarantine_for_training_only(w: make.World) -> None:
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-1))
    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    assert refused(w, old, 1, quarantine, w.shelf) == "expired"
    move(w, old, 4, quarantine, room_place(w.store, PlaceKind.TRAINING))


def test_taking_units_out_of_a_kit_judges_it_again(w: make.World) -> None:
    move(w, w.dressings, 3, make.section(w.day_01), w.shelf)
    assert not verdicts.verdict(make.fresh(w.day_01), make.today()).may_go
    assert make.fresh(w.day_01).may_go_until is None


def test_it_moves_between_sections_of_one_kit_and_not_into_another(w: make.World) -> None:
    main, pouch = make.section(w.day_01), make.section(w.day_01, "pouch")
    move(w, w.dressings, 1, main, pouch)
    assert make.units(w.dressings, pouch) == 1
    assert refused(w, w.dressings, 1, main, make.section(w.day_02)) == "restock-instead"
    assert refused(w, w.dressings, 1, w.shelf, main) == "restock-instead"


def test_it_does_not_move_more_than_the_book_holds(w: make.World) -> None:
    assert refused(w, w.dressings, 13, w.shelf, w.upper) == "not-enough"


def test_it_does_not_move_to_where_it_is(w: make.World) -> None:
    with pytest.raises(Invalid, match="already"):
        move(w, w.dressings, 1, w.shelf, w.shelf)


def test_it_does_not_move_to_a_shelf_no_longer_in_use(w: make.World) -> None:
    w.upper.closed_on = make.today()
    w.upper.save()
    assert refused(w, w.dressings, 1, w.shelf, w.upper) == "place-closed"


@pytest.mark.parametrize("units", [0, -1, 1.5, "1", True, 1_000_001])
def test_it_refuses_numbers_that_are_none(w: make.World, units: Any) -> None:
    with pytest.raises(Invalid):
        move(w, w.dressings, units, w.shelf, w.upper)


def test_only_keepers_move_stock(w: make.World) -> None:
    with pytest.raises(NotAllowed):
        move(w, w.dressings, 1, w.shelf, w.upper, who=w.guide)


def test_another_room_is_reached_by_sending(w: make.World) -> None:
    assert refused(w, w.dressings, 1, w.shelf, w.hut_shelf) == "send-instead"


def test_what_is_sent_is_in_transit_until_it_arrives(w: make.World) -> None:
    moving.send(make.act(w.keeper), lot=w.dressings, units=4, source=w.shelf, room=w.hut)
    transit = room_place(w.hut, PlaceKind.TRANSIT)
    assert (make.units(w.dressings, w.shelf), make.units(w.dressings, transit)) == (8, 4)
    done = moving.arrive(make.act(), lot=w.dressings, units=4, shelf=w.hut_shelf)
    assert (make.units(w.dressings, w.hut_shelf), make.units(w.dressings, transit)) == (4, 0)
    assert done.entry.irregular == []


def test_its_legs_say_which_rooms_they_left_and_reached(w: make.World) -> None:
    entry = moving.send(make.act(w.keeper), lot=w.dressings, units=4, source=w.shelf, room=w.hut)
    leg = Movement.objects.get(entry=entry)
    assert (leg.from_room, leg.to_room) == (w.store, w.hut)


def test_fewer_arriving_leaves_the_rest_in_transit(w: make.World) -> None:
    moving.send(make.act(w.keeper), lot=w.dressings, units=4, source=w.shelf, room=w.hut)
    moving.arrive(make.act(), lot=w.dressings, units=3, shelf=w.hut_shelf)
    assert make.units(w.dressings, room_place(w.hut, PlaceKind.TRANSIT)) == 1


def test_more_arriving_than_was_sent_is_written_as_found(w: make.World) -> None:
    moving.send(make.act(w.keeper), lot=w.dressings, units=4, source=w.shelf, room=w.hut)
    done = moving.arrive(make.act(), lot=w.dressings, units=6, shelf=w.hut_shelf)
    assert make.units(w.dressings, w.hut_shelf) == 6
    assert done.entry.irregular == ["more-arrived-than-sent"]
    assert list(audit.findings()) == []


def test_what_was_recalled_on_the_way_arrives_in_quarantine(w: make.World) -> None:
    moving.send(make.act(w.keeper), lot=w.lots["d2"], units=4, source=w.upper, room=w.hut)
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D2")
    quarantine = room_place(w.hut, PlaceKind.QUARANTINE)
    assert make.units(w.lots["d2"], quarantine) == 4


def test_it_sends_neither_into_the_same_room_nor_what_is_recalled(w: make.World) -> None:
    with pytest.raises(Invalid, match="already"):
        moving.send(make.act(w.keeper), lot=w.dressings, units=1, source=w.shelf, room=w.store)
    w.lots["d2"].recall = recalls.start(
        make.act(w.keeper), item=w.dressing, scope="number", number="OTHER"
    )
    w.lots["d2"].save()
    with pytest.raises(Refused) as problem:
        moving.send(make.act(w.keeper), lot=w.lots["d2"], units=1, source=w.upper, room=w.hut)
    assert problem.value.code == "recalled"
