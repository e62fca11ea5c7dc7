"""Several batches moved or sent in one act: all of them, or none."""

import pytest

from gearroom.core.acts import Invalid, Problem, Refused
from kits.models import Entry, EntryKind
from kits.services.overview import kits_table, search
from kits.services.stock import moving
from kits.services.stock.moving import Portion
from kits.services.stock.tables import batches_table, stock_table
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_one_entry_moves_them_all(world: make.World) -> None:
    portions = [
        Portion(world.shelf, world.dressings, 2),
        Portion(world.shelf, world.lots["shears"], 1),
    ]

    entry = moving.move_all(make.act(world.keeper), world.store, portions, world.upper)

    assert entry.movements.count() == 2
    assert make.units(world.dressings, world.upper) == 2
    assert make.units(world.lots["shears"], world.upper) == 1


def test_one_that_cannot_go_keeps_all_there(world: make.World) -> None:
    here = Portion(world.shelf, world.dressings, 2)
    for wrong, why in (
        (Portion(world.shelf, world.lots["shears"], 999), Refused),
        (Portion(world.hut_shelf, world.dressings, 1), Invalid),
    ):
        with pytest.raises(why):
            moving.move_all(make.act(world.keeper), world.store, [here, wrong], world.upper)
    assert not Entry.objects.filter(kind=EntryKind.MOVE).exists()
    assert make.units(world.dressings, world.upper) == 0


def test_nothing_to_move_and_nobody_who_may_are_refused(world: make.World) -> None:
    here = [Portion(world.shelf, world.dressings, 2)]

    for act, portions in ((make.act(world.keeper), []), (make.act(world.guide), here)):
        with pytest.raises(Problem):
            moving.move_all(act, world.store, portions, world.upper)
    with pytest.raises(Invalid):
        moving.send_all(make.act(world.keeper), [], world.hut)


def test_one_entry_sends_them_all_to_the_other_room(world: make.World) -> None:
    portions = [
        Portion(world.shelf, world.dressings, 2),
        Portion(world.shelf, world.lots["shears"], 1),
    ]

    entry = moving.send_all(make.act(world.keeper), portions, world.hut)

    assert {each.to_place.room for each in entry.movements.all() if each.to_place} == {world.hut}
    assert entry.lot is None


def test_tables_and_search_ask_alike_of_every_database(world: make.World) -> None:
    who = make.actor(world.keeper)

    (first, *_others) = kits_table.ordered(who, kits_table.EVERYTHING).ids
    assert [row.kit.name for row in kits_table.rows([first])] == ["DAY-01"]
    assert kits_table.choices(who).people
    assert stock_table.items_in_stock(who, [world.store])
    assert stock_table.suppliers([world.store]) == []
    assert batches_table.rows(who, world.store)
    assert search.search(who, "dressing")
    assert search.search(who, world.guide.name)
