"""What a class used up is ordered for the class, and is no use on trips."""

from decimal import Decimal

import pytest

from kits.models import Kit, OrderLine, PlaceKind
from kits.rules.buying.order_lines import OrderLine as Row
from kits.services.buying import drafting
from kits.services.buying.season_order import season_order
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from kits.services.ledger.book import room_place
from kits.services.ledger.undo import reversal
from kits.services.restocking import sorting
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from kits.services.stock.order_levels import stock_levels
from tests.kits import factories as make
from tests.kits.factories import act, actor, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    made = make.world()
    supplier = offers.add_supplier(act(), "North Medical")
    for item in (made.dressing, made.tablets):
        offers.state_offer(
            act(), item=item, supplier=supplier, units=1,
            prices=[PackPrice(1, Decimal("2.00"))], currency="GBP",
        )  # fmt: skip
    return made


@pytest.fixture
def kit(w: make.World) -> Kit:
    """A training kit that is whole but for medicines."""
    made = make.kit("TRAIN-1", w.version, w.store, training=True)
    sorting.restock(act(w.keeper), made)
    return fresh(made)


def lines(w: make.World) -> dict[int, Row]:
    found = season_order(
        actor(w.keeper), w.store, through=make.days(365), currency="GBP", seconds=30
    )
    return {line.offer.item_id: line.line for line in found.lines}


def for_class(w: make.World) -> int:
    """Dressings that are ordered for classes."""
    row = lines(w).get(w.dressing.pk)
    return row.for_class if row else 0


def used_in_class(w: make.World, kit: Kit, units: int) -> custody.CheckIn:
    custody.check_out(act(w.guide), kit)
    return custody.check_in(act(w.guide), fresh(kit), used=[UseLine(w.dressing, units)])


def test_what_a_class_used_up_is_ordered_for_it_and_changes_nothing_else(
    w: make.World, kit: Kit
) -> None:
    before = lines(w)
    levels = [(row.item.pk, row.level) for row in stock_levels.stocked([w.store])[w.store.pk]]
    back = used_in_class(w, kit, 2)
    after = lines(w)
    line = after.pop(w.dressing.pk)
    assert line.for_class >= 2 and (line.for_kits, line.for_use) == (0, 0)
    assert after == before
    assert [
        (row.item.pk, row.level) for row in stock_levels.stocked([w.store])[w.store.pk]
    ] == levels
    reversal.reverse(act(w.keeper), back.entry.pk)
    assert lines(w) == before


def test_what_is_set_aside_counts_first_also_what_is_out_of_date(w: make.World, kit: Kit) -> None:
    used_in_class(w, kit, 2)
    wanted = for_class(w)
    make.some(w.dressing, w.shelf, 1, "OLD", make.days(-400))
    assert for_class(w) == wanted - 1
    make.some(w.dressing, room_place(w.store, PlaceKind.TRAINING), wanted, "BOX", make.days(-40))
    assert for_class(w) == 0


def test_no_medicine_is_ordered_for_a_class_and_nothing_for_a_kit_in_storage(
    w: make.World, kit: Kit
) -> None:
    used_in_class(w, kit, 2)
    assert lines(w)[w.tablets.pk].for_class == 0
    holds.lay_up(act(w.keeper), fresh(kit))
    assert for_class(w) == 0


def test_a_draft_keeps_what_is_for_the_class(w: make.World, kit: Kit) -> None:
    used_in_class(w, kit, 2)
    found = season_order(
        actor(w.keeper), w.store, through=make.days(365), currency="GBP", seconds=30
    )
    packs = {line.offer.pk: line.line.packs for line in found.lines}
    drafting.draft(act(w.keeper), w.store, packs=packs, through=make.days(365), currency="GBP")
    row = OrderLine.objects.get(item=w.dressing)
    line = next(line.line for line in found.lines if line.offer.item_id == w.dressing.pk)
    assert (row.for_class, row.more) == (line.for_class, line.more)
