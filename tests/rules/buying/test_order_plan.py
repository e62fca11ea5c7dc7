"""The order of a season: against every order that there could be."""

import itertools
import random
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import assume, given, strategies as st

from kits.rules.buying.naive_plan import naive_order
from kits.rules.buying.order_lines import order_lines, outlooks
from kits.rules.buying.order_plan import Found, plan
from kits.rules.buying.season import (
    ENOUGH,
    MixedCurrencies,
    Offer,
    Order,
    Price,
    Season,
    Supplier,
    Want,
    WrongAmount,
)
from kits.rules.buying.season_costs import cost, curve, lacking, out_of_date
from kits.rules.ledger.facts import Criticality

MOST_ORDERS = 4000
money = st.integers(0, 1500).map(lambda pennies: Decimal(pennies) / 100)
chances = (
    st.lists(st.integers(0, 5), min_size=1, max_size=6)
    .filter(any)
    .map(lambda weights: tuple(weight / sum(weights) for weight in weights))
)
wants = st.builds(
    Want,
    item=st.just(0),
    short=st.integers(0, 3),
    used=chances,
    on_hand=st.integers(0, 4),
    kept=st.none() | chances,
    matters=st.sampled_from(Criticality),
)
suppliers = st.builds(
    Supplier,
    id=st.just(0),
    delivery=money.map(lambda fee: fee / 4).map(lambda fee: fee.quantize(Decimal("0.01"))),
    free_from=st.none() | money,
    least_order=st.just(Decimal(0)) | money,
)


@st.composite
def offers(draw: st.DrawFn, number: int, items: int, sellers: int) -> Offer:
    packs = draw(st.lists(st.integers(1, 4), min_size=1, max_size=2, unique=True).map(sorted))
    return Offer(
        id=number,
        item=draw(st.integers(0, items - 1)),
        supplier=draw(st.integers(0, sellers - 1)),
        units=draw(st.sampled_from([1, 2, 5])),
        currency="GBP",
        prices=tuple(Price(n, draw(money.filter(lambda m: m >= 1))) for n in packs),
    )


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    items, sellers = draw(st.integers(1, 2)), draw(st.integers(1, 2))
    return Season(
        "GBP",
        tuple(Want(**{**vars(draw(wants)), "item": n}) for n in range(items)),
        tuple(draw(offers(n, items, sellers)) for n in range(draw(st.integers(0, 3)))),
        tuple(Supplier(**{**vars(draw(suppliers)), "id": n}) for n in range(sellers)),
        draw(st.none() | money),
    )


def generous_packs(offer: Offer, want: Want, season: Season) -> int:
    """All that may be wanted in packs of one offer, and so many more that their price alone is that
    of a delivery and of a least order."""
    wanted = max(0, want.short + len(want.used) - 1 - want.on_hand)
    if not wanted:
        return 0
    supplier = season.suppliers[offer.supplier]
    lowest = min(price.each for price in offer.prices)
    more = -(-max(supplier.delivery, supplier.least_order) // lowest)
    return max(-(-wanted // offer.units), offer.prices[-1].packs) + int(more)


def every_order(season: Season) -> list[Order]:
    """All that could be worth a thought."""
    by_item = {want.item: want for want in season.wants}
    counts = []
    for offer in season.offers:
        most = generous_packs(offer, by_item[offer.item], season)
        counts.append([0, *range(offer.least, most + 1)])
    size = 1
    for each in counts:
        size *= len(each)
    assume(size <= MOST_ORDERS)
    orders = (
        Order({o.id: n for o, n in zip(season.offers, packs, strict=True) if n})
        for packs in itertools.product(*counts)
    )
    return [order for order in orders if order.may_be(season)]


@given(seasons())
def test_no_order_comes_to_less(season: Season) -> None:
    best = min(cost(season, order) for order in every_order(season))
    found = plan(season, seconds=60, within=0)
    assert found.found == Found.BEST
    assert cost(season, found.order) == pytest.approx(best, abs=1e-4)
    assert float(found.bound) == pytest.approx(best, abs=0.01)


@given(seasons())
def test_it_is_one_that_may_be_and_never_worse_than_one_written_by_hand(season: Season) -> None:
    by_hand = naive_order(season)
    assert by_hand.may_be(season)
    found = plan(season)
    assert found.order.may_be(season)
    assert cost(season, found.order) <= cost(season, by_hand) + 1e-9
    assert found.bound <= found.comes_to
    assert plan(season) == found


@given(seasons())
def test_money_and_units_add_up(season: Season) -> None:
    order = plan(season).order
    lines = [(season.by_id[pk], packs) for pk, packs in order.packs.items()]
    goods = sum((offer.cost(packs) for offer, packs in lines), Decimal(0))
    assert order.money(season) == goods + sum(order.deliveries(season).values(), Decimal(0))
    for want in season.wants:
        bought = sum(offer.units * packs for offer, packs in lines if offer.item == want.item)
        assert order.units(season, want.item) == bought
        short, _ = lacking(want, bought)
        assert short == max(0, want.short - want.on_hand - bought)


@given(seasons())
def test_nothing_that_is_not_wanted_is_bought(season: Season) -> None:
    enough = tuple(
        Want(want.item, want.short, want.used, want.short + len(want.used), want.kept)
        for want in season.wants
    )
    satisfied = Season("GBP", enough, season.offers, season.suppliers, season.budget)
    assert plan(satisfied).order == Order()


@given(wants, st.integers(0, 30))
def test_charges_are_convex_and_what_is_left_and_lacked_balances(want: Want, most: int) -> None:
    offer = Offer(0, 0, 0, 1, "GBP", (Price(1, Decimal("2.50")),))
    along = curve(want, [offer], most)
    steps = [b - a for a, b in itertools.pairwise(along)]
    assert all(a <= b + 1e-9 for a, b in itertools.pairwise(steps))
    for units in range(most + 1):
        there = want.on_hand + units - want.short
        _, lacked = lacking(want, units)
        mean = sum(n * chance for n, chance in enumerate(want.used))
        left = sum(max(0, there - n) * chance for n, chance in enumerate(want.used))
        assert max(0, there) + lacked == pytest.approx(mean + left)
        assert out_of_date(want, units) >= 0


def one_want(matters: Criticality, item: int = 0, short: int = 1) -> Want:
    return Want(item, short, (1.0,), matters=matters)


def test_a_large_pack_is_no_reason_to_leave_a_kit_short() -> None:
    pack = Offer(0, 0, 0, 200, "GBP", (Price(1, Decimal(30)),))
    season = Season("GBP", (one_want(Criticality.ROUTINE),), (pack,), (Supplier(0),))
    assert plan(season).order.packs == {0: 1}


def test_the_gravest_comes_first_where_the_budget_is_short() -> None:
    cheap = tuple(Offer(n, n, 0, 1, "GBP", (Price(1, Decimal(1)),)) for n in range(9))
    dear = Offer(9, 9, 0, 1, "GBP", (Price(1, Decimal(9)),))
    wants = (
        *(one_want(Criticality.ROUTINE, n) for n in range(9)),
        one_want(Criticality.MUST_HAVE, 9),
    )
    season = Season("GBP", wants, (*cheap, dear), (Supplier(0),), Decimal("9.50"))
    assert plan(season).order.packs == {9: 1}
    assert naive_order(season).packs == {9: 1}


def test_it_buys_a_little_more_where_that_saves_a_dearer_delivery() -> None:
    pack = Offer(0, 0, 0, 1, "GBP", (Price(1, Decimal(4)),))
    wanted = Want(0, 2, (1.0,), matters=Criticality.ROUTINE)
    seller = Supplier(0, Decimal(6), free_from=Decimal(12))
    season = Season("GBP", (wanted,), (pack,), (seller,))
    found = plan(season)
    assert found.order.packs == {0: 3}
    assert found.order.money(season) == Decimal(12)


def test_without_time_it_is_what_somebody_would_write_with_the_bound() -> None:
    wants = tuple(Want(n, 2, (0.1,) * 10) for n in range(60))
    packs = tuple(
        Offer(3 * n + k, n, k, 2 + k, "GBP", (Price(1, Decimal(3 + k)), Price(3, Decimal(2 + k))))
        for n in range(60)
        for k in range(3)
    )
    sellers = tuple(Supplier(k, Decimal(9), Decimal(90), Decimal(20)) for k in range(3))
    season = Season("GBP", wants, packs, sellers)
    found = plan(season, seconds=1e-4)
    assert found.order == naive_order(season)
    assert found.found == Found.BY_HAND
    assert 0 <= found.bound <= found.comes_to


def test_currencies_are_never_mixed() -> None:
    pounds = Offer(0, 0, 0, 1, "GBP", (Price(1, Decimal(1)),))
    euros = Offer(1, 0, 0, 1, "EUR", (Price(1, Decimal(1)),))
    with pytest.raises(MixedCurrencies, match="EUR"):
        Season("GBP", (one_want(Criticality.ROUTINE),), (pounds, euros), (Supplier(0),))


@pytest.mark.parametrize("amount", ["-1", "0.001", "NaN", "Infinity"])
def test_amounts_that_cannot_be_are_refused(amount: str) -> None:
    with pytest.raises(WrongAmount):
        Price(1, Decimal(amount))
    with pytest.raises(WrongAmount):
        Supplier(0, Decimal(amount))
    with pytest.raises(WrongAmount):
        Season("GBP", (), (), (), Decimal(amount))


def test_what_cannot_be_is_refused() -> None:
    price = (Price(1, Decimal(1)),)
    pack = Offer(0, 0, 0, 1, "GBP", price)
    want = one_want(Criticality.ROUTINE)
    for make in (
        lambda: Price(0, Decimal(1)),
        lambda: Offer(0, 0, 0, 0, "GBP", price),
        lambda: Offer(0, 0, 0, 1, "GBP", ()),
        lambda: Offer(0, 0, 0, 1, "GBP", price * 2),
        lambda: Want(0, -1, (1.0,)),
        lambda: Want(0, 1, (0.5,)),
        lambda: Want(0, 1, ()),
        lambda: Season("GBP", (want, want), (), ()),
        lambda: Season("GBP", (want,), (pack, pack), (Supplier(0),)),
        lambda: Season("GBP", (want,), (pack,), ()),
        lambda: Season("GBP", (want,), (pack,), (Supplier(0), Supplier(0))),
    ):
        with pytest.raises(WrongAmount):
            make()


@given(seasons())
def test_every_line_says_what_its_units_are_for(season: Season) -> None:
    order = plan(season).order
    lines = order_lines(season, order)
    assert {line.offer: line.packs for line in lines} == order.packs
    assert [line.units for line in lines] == [
        line.packs * season.by_id[line.offer].units for line in lines
    ]
    by_item = {want.item: want for want in season.wants}
    for item, want in by_item.items():
        for_kits = sum(line.for_kits for line in lines if line.item == item)
        assert for_kits <= max(0, want.short - want.on_hand)
        if order.units(season, item) == 0:
            assert not [line for line in lines if line.item == item]


@given(seasons())
def test_every_line_says_what_is_lacked_without_it_alone(season: Season) -> None:
    order = plan(season).order
    by_item = {want.item: want for want in season.wants}
    for line in order_lines(season, order):
        without = Order({pk: packs for pk, packs in order.packs.items() if pk != line.offer})
        want = by_item[line.item]
        lacked = lacking(want, without.units(season, line.item))
        assert (line.without.kits, line.without.use) == lacked
        assert lacked >= lacking(want, order.units(season, line.item))
        assert line.matters == want.matters


@given(seasons(), st.randoms(use_true_random=False))
def test_the_same_season_has_the_same_plan_in_whatever_order_its_rows_come(
    season: Season, chance: random.Random
) -> None:
    shuffled = replace(
        season,
        wants=tuple(chance.sample(season.wants, len(season.wants))),
        offers=tuple(chance.sample(season.offers, len(season.offers))),
        suppliers=tuple(chance.sample(season.suppliers, len(season.suppliers))),
    )
    found = plan(season)
    assert plan(shuffled) == found
    assert list(plan(shuffled).order.packs) == list(found.order.packs)


@given(seasons())
def test_it_names_all_that_is_not_enough_the_gravest_first(season: Season) -> None:
    found = outlooks(season, plan(season).order)
    assert sorted(each.item for each in found) == sorted(want.item for want in season.wants)
    lacking_ones = [each for each in found if not each.enough]
    assert found[: len(lacking_ones)] == lacking_ones
    order = [ENOUGH[each.matters] for each in lacking_ones]
    assert order == sorted(order, reverse=True)
    for each in found:
        if each.kits_lack:
            assert not each.enough
