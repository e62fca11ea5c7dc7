"""A room's order for a season."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid, NotAllowed
from kits.models import Item, ItemNeed, Need, NeedGroup, StatedRate
from kits.rules.buying.order_lines import Basis
from kits.services.buying.season_order import SeasonOrder, season_of, season_order
from kits.services.custody import use
from kits.services.stock import catalogue, instruments, offers
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
    # The 40 on the shelf fill DAY-02 until they and those in DAY-01 end.
    assert tablets.wanted_by == make.days(301)


def test_more_is_wanted_from_the_day_on_which_the_shelf_is_empty_at_the_usual_rate(
    w: World,
) -> None:
    offered(w.tablets, 16, "2.00")
    for _ in range(8):
        use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.tablets, units=1)])
    make.Holding.objects.filter(lot__item=w.tablets, place__kind="shelf").update(units=20)
    ((tablets,),) = ([row for row in order(w).lines if row.offer.item == w.tablets],)
    a_year = tablets.line.without.use
    assert tablets.wanted_by == make.days(int(4 * 365 / a_year))  # 16 of the 20 fill the kits
    make.Holding.objects.filter(lot__item=w.tablets, place__kind="shelf").update(units=15)
    ((tablets,),) = ([row for row in order(w).lines if row.offer.item == w.tablets],)
    assert tablets.wanted_by == make.today()


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


def test_an_instrument_is_not_bought_because_its_check_is_due(w: World) -> None:
    """DAY-01 carries a gauge whose check is due before the season ends; DAY-02 lacks one."""
    section = w.version.sections.get(key="main")
    section.lines.create(item=w.gauge, carry=1, never_below=0)
    instruments.check(act(), w.lots["gauge"], passed=True)
    make.put_in(w.day_01, w.lots["gauge"], w.shelf, 1)
    offered(w.gauge, 1, "20.00")
    (line,) = (row for row in order(w).lines if row.offer.item == w.gauge)
    assert line.line.units == 1


@pytest.fixture
def need(w: World) -> Need:
    """Two uses in 1,000 participant-days were stated, of one tablet each."""
    made = Need.objects.create(key="ache", name="ache", group=NeedGroup.values[0])
    ItemNeed.objects.create(item=w.tablets, need=made)
    StatedRate.objects.create(
        need=made, per_1000=Decimal(2), source="adviser", stated_at=make.timezone.now()
    )
    return made


def basis_of_tablets(w: World) -> tuple[Basis, float]:
    row = {row.item: row for row in order(w).outlooks}[w.tablets]
    return row.basis, row.outlook.lacked


def test_use_follows_from_needs_and_the_trips_that_are_coming(w: World, need: Need) -> None:
    offered(w.tablets, 16, "2.00")
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.tablets, units=1)])
    assert basis_of_tablets(w)[0] is Basis.RECORDED_USE  # no trip is on record

    make.trip("Big walk", w.store, 5, 9, people=200)

    assert basis_of_tablets(w)[0] is Basis.COMING_TRIPS
    season = season_of(actor(w.keeper), w.store, through=IN_A_YEAR, currency="GBP").season
    (tablets,) = (want for want in season.wants if want.item == w.tablets.pk)
    mean = sum(units * chance for units, chance in enumerate(tablets.used))
    assert mean == pytest.approx(2, rel=0.2)  # 1,000 participant-days


def test_as_many_trips_as_a_year_ago_are_expected_where_fewer_are_booked(
    w: World, need: Need
) -> None:
    make.trip("Big walk", w.store, 5, 9, people=20)
    make.trip("Last year", w.store, -300, -296, people=200)
    assert basis_of_tablets(w)[0] is Basis.TRIPS_A_YEAR_AGO


def test_a_need_without_a_rate_leaves_recorded_use(w: World, need: Need) -> None:
    make.trip("Big walk", w.store, 5, 9, people=200)
    other = Need.objects.create(key="fever", name="fever", group=NeedGroup.values[0])
    ItemNeed.objects.create(item=w.tablets, need=other)
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.tablets, units=1)])
    assert basis_of_tablets(w)[0] is Basis.RECORDED_USE


def test_what_no_kit_carries_and_nobody_used_is_never_ordered(w: World, need: Need) -> None:
    other = make.item("Other tablets")
    ItemNeed.objects.create(item=other, need=need)
    offered(other, 1, "1.00")
    make.trip("Big walk", w.store, 5, 9, people=200)
    assert other not in {row.item for row in order(w).outlooks}


def test_what_is_better_is_ordered_in_place_of_what_is_good_enough_until_that_is_used_up(
    w: World,
) -> None:
    offered(w.shears, 1, "3.00")
    before = {row.item.pk: row.outlook for row in order(w).outlooks}
    catalogue.put_substitute(act(w.keeper), w.dressing, w.shears, at_next_order=True)
    after = {row.item.pk: row.outlook for row in order(w).outlooks}
    assert w.dressing.pk in before
    assert w.dressing.pk not in after
    assert w.shears.pk in after
    catalogue.put_substitute(act(w.keeper), w.dressing, w.shears, "as it was")
    assert w.dressing.pk not in {row.item.pk for row in order(w).outlooks}
    with pytest.raises(Invalid):
        catalogue.put_substitute(act(w.keeper), w.shears, w.dressing, at_next_order=True)
    catalogue.put_substitute(act(w.keeper), w.dressing, w.shears, at_next_order=False)
    assert w.dressing.pk in {row.item.pk for row in order(w).outlooks}


def test_what_nobody_offers_replaces_nothing_in_an_order(w: World) -> None:
    catalogue.put_substitute(act(w.keeper), w.dressing, w.shears, at_next_order=True)
    assert w.dressing.pk in {row.item.pk for row in order(w).outlooks}
