"""Prices pasted from a supplier's list: read first, then kept, all at once."""

from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import Offer, Supplier
from kits.services.buying import price_lists
from kits.services.buying.price_lists import KeptList, NewPrice
from kits.services.stock import offers, receiving
from kits.services.stock.order_levels import deliveries
from tests.kits import factories as make
from tests.kits.factories import World, act, actor

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(db: None) -> World:
    return make.world()


def keep(w: World, *prices: NewPrice, supplier: str = "North", **more: object) -> KeptList:
    return price_lists.keep(
        act(w.keeper),
        prices,
        supplier=supplier,
        currency="GBP",
        **more,  # type: ignore[arg-type]  # by name
    )


def test_each_line_says_which_item_it_may_mean(w: World) -> None:
    name = w.dressing.name
    sure, unknown = price_lists.read_offers(f"{name}, pack of 10, £4.50\nTeapot, £9.00")
    assert (sure.items[0], sure.sure) == (w.dressing, True)
    assert (sure.pasted.units, sure.pasted.price) == (10, Decimal("4.50"))
    assert (list(unknown.items), unknown.sure) == ([], False)
    for text in ("", "x\n" * 501):
        with pytest.raises(Invalid):
            price_lists.read_offers(text)


def test_a_list_pasted_again_states_only_what_changed(w: World) -> None:
    first = NewPrice(w.dressing, 10, Decimal("4.50")), NewPrice(w.shears, 1, Decimal(3))
    assert (len(keep(w, *first).stated), keep(w, *first).unchanged) == (2, 2)
    dearer = NewPrice(w.dressing, 10, Decimal(5))
    kept = keep(w, dearer, first[1])
    assert [offer.item for offer in kept.stated] == [w.dressing]
    assert Offer.objects.count() == 3
    assert len(keep(w, dearer, tax_percent=Decimal(20)).stated) == 1


def test_nothing_is_kept_where_a_pack_is_there_twice_or_nothing_is(w: World) -> None:
    each = NewPrice(w.dressing, 10, Decimal(4))
    for prices in ((), (each, NewPrice(w.dressing, 10, Decimal(5)))):
        with pytest.raises(Invalid):
            keep(w, *prices)
    assert not Offer.objects.exists()
    with pytest.raises(NotAllowed):
        price_lists.keep(act(w.guide), [each], supplier="North", currency="GBP")


def test_a_suppliers_name_is_matched_once_and_holds_for_deliveries_too(w: World) -> None:
    each = NewPrice(w.dressing, 10, Decimal(4))
    north = keep(w, each).supplier
    receiving.receive(
        act(w.keeper),
        shelf=w.shelf,
        item=w.dressing,
        units=10,
        expiry=make.days(500),
        supplier="north  medical LTD",
    )
    assert offers.unmatched_names(actor(w.keeper)) == ["north medical LTD"]
    assert offers.unmatched_names(actor(w.stranger)) == []
    again = keep(w, each, supplier="North Medical Ltd", same_as=north)
    assert (again.supplier, again.unchanged) == (north, 1)
    assert keep(w, each, supplier="NORTH medical ltd").supplier == north
    assert Supplier.objects.count() == 1
    assert offers.unmatched_names(actor(w.keeper)) == []
    assert deliveries.learned([w.dressing.pk]).shelf_lives[w.dressing.pk, "North"].days == 500
    south = keep(w, each, supplier="South").supplier
    with pytest.raises(Refused):
        keep(w, each, supplier="North Medical Ltd", same_as=south)
