"""Laws of a room's order for a season, through orders as records: for offers drawn by chance, the
plan is never worse than the one somebody would write, the same twice, and nothing of it is lost on
its way from plan to draft to delivery."""

import random
from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid
from kits.models import Offer
from kits.rules.buying.naive_plan import naive_order
from kits.rules.buying.season import Order as Packs
from kits.rules.buying.season_costs import cost
from kits.services.buying import drafting, ordering
from kits.services.buying.season_order import SeasonOrder, season_of, season_order
from kits.services.custody import use
from kits.services.orders import order_audit, orders
from kits.services.stock import offers, receiving
from kits.services.stock.offers import PackPrice
from tests.kits import factories as make
from tests.kits.factories import World, act, actor

pytestmark = pytest.mark.django_db
IN_A_YEAR = make.days(365)
SEEDS = range(6)


@pytest.fixture
def w(db: None) -> World:
    made = make.world()
    for _ in range(5):
        use.log_use(act(made.guide), made.day_01, [use.UseLine(item=made.tablets, units=1)])
    return made


def draw_offers(w: World, chance: random.Random) -> None:
    """Two or three offers of each thing, at suppliers with terms of their own."""
    for name in ("North Medical", "South", "East"):
        supplier = offers.add_supplier(act(), name)
        offers.state_terms(
            act(), supplier, currency="GBP", delivery=Decimal(chance.choice([0, 3, 6])),
            free_from=chance.choice([None, Decimal(10), Decimal(25)]),
            least_order=Decimal(chance.choice([0, 0, 5])),
        )  # fmt: skip
        for item in (w.tablets, w.dressing, w.shears):
            if chance.random() < 0.8:
                each = Decimal(chance.randint(40, 900)) / 100
                prices = [PackPrice(1, each), PackPrice(3, each - Decimal("0.10"))]
                offers.state_offer(
                    act(), item=item, supplier=supplier, units=chance.choice([1, 4, 16]),
                    prices=prices[: chance.randint(1, 2)], currency="GBP",
                )  # fmt: skip


def planned(w: World) -> SeasonOrder:
    return season_order(actor(w.keeper), w.store, through=IN_A_YEAR, currency="GBP", seconds=30)


def packs_of(order: SeasonOrder) -> dict[int, int]:
    return {line.offer.pk: line.line.packs for line in order.lines}


@pytest.mark.parametrize("seed", SEEDS)
def test_it_is_never_worse_than_by_hand_and_the_same_twice(w: World, seed: int) -> None:
    draw_offers(w, random.Random(seed))
    season = season_of(actor(w.keeper), w.store, through=IN_A_YEAR, currency="GBP").season
    first, second = planned(w), planned(w)
    assert cost(season, Packs(packs_of(first))) <= cost(season, naive_order(season)) + 1e-6
    assert [vars(line.line) for line in first.lines] == [vars(line.line) for line in second.lines]
    assert first.plan == second.plan


@pytest.mark.parametrize("seed", SEEDS)
def test_drafts_have_all_of_the_plan_and_deliveries_all_of_the_drafts(w: World, seed: int) -> None:
    chance = random.Random(seed)
    draw_offers(w, chance)
    plan = planned(w)
    made = drafting.draft(
        act(w.keeper), w.store, packs=packs_of(plan), through=IN_A_YEAR, currency="GBP"
    )
    assert sum(each.total for each in made) == plan.money
    written = {line.line.offer_id: line.line for each in made for line in each.lines}
    for line in plan.lines:
        row = written[line.offer.pk]
        assert (row.packs, row.for_kits, row.for_use, row.more) == (
            line.line.packs, line.line.for_kits, line.line.for_use, line.line.more,
        )  # fmt: skip
        assert row.without_kits == line.line.without.kits
    ordered = came = 0
    for each in made:
        order = ordering.place(act(w.keeper), each.order).order
        for row in each.order.lines.select_related("item"):
            ordered += row.units
            units = chance.randint(1, row.units + 3)
            came += units
            receiving.receive(act(w.keeper), item=row.item, shelf=w.shelf, units=units, order=order)
        left = orders.fresh(order)
        if any(line.progress.open for line in left.lines):
            ordering.cancel_rest(act(w.keeper), order)
    progress = [line.progress for each in made for line in orders.fresh(each.order).lines]
    assert sum(p.ordered for p in progress) == ordered
    assert sum(p.arrived for p in progress) == came
    assert all(p.ordered + p.extra == p.arrived + p.cancelled for p in progress)
    assert list(order_audit.findings()) == []


def test_a_plan_is_drafted_in_its_own_currency_alone(w: World) -> None:
    draw_offers(w, random.Random(1))
    plan = planned(w)
    with pytest.raises(Invalid):
        drafting.draft(
            act(w.keeper), w.store, packs=packs_of(plan), through=IN_A_YEAR, currency="EUR"
        )
    assert not Offer.objects.exclude(currency="GBP").exists()
