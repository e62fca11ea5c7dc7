"""At how much of each item rooms order."""

from datetime import timedelta

import pytest

from gearroom.core.acts import Invalid
from gearroom.core.models import Room
from kits.models import Item, ListLine
from kits.rules.buying.order_levels import Basis
from kits.rules.ledger.facts import Level
from kits.services.custody import use
from kits.services.ledger import LooseLevel
from kits.services.restocking import sorting
from kits.services.stock import catalogue, receiving
from kits.services.stock.order_levels import deliveries, stock_levels
from kits.services.stock.order_levels.stock_levels import ItemLevel
from tests.kits import factories as make
from tests.kits.factories import World, act

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(db: None) -> World:
    return make.world()


def level_of(item: Item, room: Room) -> ItemLevel | None:
    rows = stock_levels.stocked([room]).get(room.pk, [])
    return next((row for row in rows if row.item.pk == item.pk), None)


def set_by_hand(item: Item, units: int) -> None:
    catalogue.edit_item(act(), item, order_down_to=units)


def test_a_level_set_for_all_rooms_holds_only_where_there_is_need(w: World) -> None:
    """Kits of the main store carry shears; nobody in the hut does."""
    make.some(w.shears, w.hut_shelf, 1)
    set_by_hand(w.shears, 9)

    here, there = level_of(w.shears, w.store), level_of(w.shears, w.hut)
    assert here is not None
    assert there is not None
    assert (here.level.units, here.level.basis, here.low) == (9, Basis.BY_HAND, True)
    assert (there.level.units, there.level.basis, there.low) == (0, Basis.NO_NEED, False)


def test_what_may_be_carried_instead_is_needed_too(w: World) -> None:
    other = make.item("Scissors", needs_date=False)
    make.some(other, w.shelf, 1)
    set_by_hand(other, 3)
    found = level_of(other, w.store)
    assert found is not None
    assert found.level.basis == Basis.NO_NEED

    catalogue.put_substitute(act(), w.shears, other, "")

    found = level_of(other, w.store)
    assert found is not None
    assert (found.level.units, found.level.basis) == (3, Basis.BY_HAND)


def test_what_was_used_is_needed_and_rests_on_little_use_at_first(w: World) -> None:
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.tablets, units=2)])
    found = level_of(w.tablets, w.store)
    assert found is not None
    assert (found.level.basis, found.level.uses) == (Basis.LITTLE_USE, 1)
    assert found.level.units % 2 == 0


def fill_up(w: World, level: Level, days_ago: int) -> None:
    at = make.timezone.now() - timedelta(days=days_ago)
    loose = LooseLevel(make.section(w.day_01), w.plasters, level)
    sorting.restock(
        act(claimed_at=at), make.fresh(w.day_01), extra=[], as_listed=False, levels=[loose]
    )


def test_of_a_loose_item_a_refill_is_the_use_and_it_is_ordered_by_the_box(w: World) -> None:
    ListLine.objects.filter(item=w.plasters).update(carry=20)
    catalogue.put_pack_code(act(), w.plasters, gtin="09506000134352", units_per_pack=50)
    assert level_of(w.plasters, w.store) is None

    fill_up(w, Level.EMPTY, 2)
    fill_up(w, Level.FULL, 1)

    found = level_of(w.plasters, w.store)
    assert found is not None
    assert (found.level.uses, found.level.counted) == (1, False)
    assert found.level.units == 50
    assert found.low  # nobody put a box on record


def test_a_lead_time_is_learned_once_three_deliveries_say_when_they_were_ordered(w: World) -> None:
    set_by_hand(w.shears, 9)

    def lead_days() -> int:
        found = level_of(w.shears, w.store)
        assert found is not None
        return found.lead_days

    for days in (4, 9):
        ordered(w, days)
    assert lead_days() == w.shears.lead_time_days == 14
    ordered(w, 5)
    assert lead_days() == 5
    assert deliveries.learned([w.shears.pk]).lead_times[w.shears.pk, "North"].deliveries == 3


def ordered(w: World, days_ago: int) -> None:
    receiving.receive(
        act(),
        item=w.shears,
        shelf=w.shelf,
        units=1,
        supplier="North",
        ordered_on=make.days(-days_ago),
    )


@pytest.mark.parametrize("days", [1, -731])
def test_an_order_of_tomorrow_or_long_ago_is_refused(w: World, days: int) -> None:
    with pytest.raises(Invalid):
        ordered(w, -days)
