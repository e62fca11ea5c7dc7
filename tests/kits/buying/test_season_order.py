"""A room's order for a season."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid, NotAllowed
from kits.models import Item
from kits.services.buying.season_order import SeasonOrder, season_order
from kits.services.custody import use
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from tests.kits import factories as make
from tests.kits.factories import World, act, actor

pytestmark = pytest.mark.django_db
IN_A_YEAR = make.days(365)


@pytest.fixture
def w(db: None) -> World:
    return make.world()


def offered(item: Item, units: int, price: str, currency: str = "GBP", tax: int = 0) -> None:
    offers.state_offer(
        act(),
        item=item,
        supplier=offers.add_supplier(act(), "North Medical"),
        units=units,
        prices=[PackPrice(1, Decimal(price))],
        currency=currency,
        tax_percent=Decimal(tax),
    )


def order(w: World, **more: Decimal) -> SeasonOrder:
    return season_order(
        actor(w.keeper), w.store, through=IN_A_YEAR, currency="GBP", seconds=30, **more
    )


def test_what_kits_lack_and_shelves_do_not_have_through_the_season_is_ordered(w: World) -> None:
    """DAY-02 is empty: it lacks 8 tablets, as DAY-01 does once its own are out of date in 300 days;
    those on the shelf do not last either."""
    offered(w.tablets, 16, "2.00", tax=20)

    found = order(w)

    ((tablets,),) = ([row for row in found.lines if row.offer.item == w.tablets],)
    assert (tablets.line.packs, tablets.line.for_kits, tablets.line.cost) == (
        1,
        16,
        Decimal("2.40"),
    )
    assert (found.money, found.deliveries) == (Decimal("2.40"), Decimal(0))


def test_what_is_on_the_shelves_and_lasts_is_not_ordered(w: World) -> None:
    """6 dressings for DAY-02: 12 and 10 that last are on the shelves."""
    offered(w.dressing, 1, "1.00")
    assert [row for row in order(w).lines if row.offer.item == w.dressing] == []


def test_use_is_ordered_for_and_a_retired_item_is_not(w: World) -> None:
    offered(w.shears, 1, "3.00")
    for _ in range(8):
        use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.tablets, units=1)])
    found = order(w)
    by_item = {row.item: row.outlook for row in found.outlooks}
    assert by_item[w.tablets].lacked > 1
    Item.objects.filter(pk=w.tablets.pk).update(retired_on=make.days(-1))
    assert w.tablets not in {row.item for row in order(w).outlooks}


def test_what_nobody_offers_in_this_currency_is_named_a_must_have_first(w: World) -> None:
    offered(w.tablets, 16, "2.00", currency="EUR")
    make.Holding.objects.filter(lot__item=w.dressing, place__kind="shelf").update(units=0)
    found = order(w)
    assert found.lines == []
    assert list(found.not_offered) == [w.dressing, w.tablets]


def test_a_budget_is_kept_and_what_it_leaves_out_is_said(w: World) -> None:
    offered(w.tablets, 1, "1.00")
    found = order(w, budget=Decimal("5.00"))
    assert found.money <= Decimal("5.00")
    assert [row.outlook.kits_lack for row in found.outlooks if row.item == w.tablets] == [11]


def test_an_ended_offer_is_not_taken_and_a_new_price_takes_the_place_of_the_old(w: World) -> None:
    offered(w.tablets, 16, "2.00")
    offered(w.tablets, 16, "3.00")
    assert order(w).money == Decimal("3.00")
    (row,) = offers.in_force()
    offers.end_offer(act(), row)
    assert order(w).lines == []


@pytest.mark.parametrize(
    ("days", "budget"), [(0, "1"), (-1, "1"), (731, "1"), (9, "-1"), (9, "NaN")]
)
def test_a_season_that_cannot_be_is_refused(w: World, days: int, budget: str) -> None:
    with pytest.raises(Invalid):
        season_order(
            actor(w.keeper),
            w.store,
            through=make.today() + timedelta(days=days),
            currency="GBP",
            budget=Decimal(budget),
        )


def test_it_is_for_keepers_of_the_room(w: World) -> None:
    for who in (w.guide, w.stranger):
        with pytest.raises(NotAllowed):
            season_order(actor(who), w.store, through=IN_A_YEAR, currency="GBP")


def test_a_room_without_kits_or_stock_orders_nothing(db: None) -> None:
    room = make.room("New store")
    keeper = make.person("Nia", make.Role.KEEPER, room)
    found = season_order(actor(keeper), room, through=IN_A_YEAR, currency="GBP")
    assert (found.lines, found.money, found.outlooks) == ([], Decimal(0), [])
