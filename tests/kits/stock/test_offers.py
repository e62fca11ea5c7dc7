"""Suppliers, what their deliveries cost, and what they offer."""

from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import Offer
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from tests.kits import factories as make
from tests.kits.factories import World, act

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(db: None) -> World:
    return make.world()


def state(w: World, *prices: tuple[int, str], units: int = 10, tax: str = "0") -> Offer:
    return offers.state_offer(
        act(w.keeper),
        item=w.dressing,
        supplier=offers.add_supplier(act(w.keeper), "North Medical"),
        units=units,
        prices=[PackPrice(packs, Decimal(each)) for packs, each in prices],
        currency="GBP",
        tax_percent=Decimal(tax),
    )


def test_a_supplier_s_name_is_matched_once(w: World) -> None:
    north = offers.add_supplier(act(w.keeper), "North Medical")
    assert offers.add_supplier(act(w.keeper), "  north   MEDICAL ") == north
    assert offers.supplier_named("North Med. Ltd") is None

    for _ in range(2):
        offers.match_name(act(w.keeper), "North Med. Ltd", north)

    assert offers.supplier_named("north med. ltd") == north
    assert offers.add_supplier(act(w.keeper), "North Med. LTD") == north
    south = offers.add_supplier(act(w.keeper), "South")
    with pytest.raises(Refused, match="North Medical"):
        offers.match_name(act(w.keeper), "North Med. Ltd", south)


@pytest.mark.parametrize("name", ["", "   ", "x" * 121])
def test_a_supplier_has_a_name(w: World, name: str) -> None:
    with pytest.raises(Invalid):
        offers.add_supplier(act(w.keeper), name)


def test_the_latest_offer_of_a_pack_counts_and_those_before_are_its_history(w: World) -> None:
    first, second, other = (
        state(w, (1, "4.00")),
        state(w, (1, "5.00")),
        state(w, (1, "9"), units=20),
    )
    assert set(offers.in_force()) == {second, other}
    assert offers.history(first) == [second, first]

    for _ in range(2):
        offers.end_offer(act(w.keeper), second)

    assert list(offers.in_force()) == [other]
    assert len(offers.history(first)) == 3
    again = state(w, (1, "6.00"))
    assert set(offers.in_force()) == {again, other}


def test_rules_get_prices_with_tax(w: World) -> None:
    row = state(w, (1, "4.00"), (5, "3.33"), tax="20")
    found = offers.as_rule(offers.offer(row.pk))
    assert [(price.packs, price.each) for price in found.prices] == [
        (1, Decimal("4.80")),
        (5, Decimal("4.00")),
    ]


def test_deliveries_cost_what_was_stated_last_in_that_currency(w: World) -> None:
    north = offers.add_supplier(act(w.keeper), "North Medical")
    for fee in ("3.00", "4.00"):
        offers.state_terms(
            act(w.keeper), north, currency="GBP", delivery=Decimal(fee), free_from=Decimal(50)
        )
    (pounds,), (euros,) = offers.terms_in("GBP", [north.pk]), offers.terms_in("EUR", [north.pk])
    assert (pounds.delivery, pounds.free_from) == (Decimal("4.00"), Decimal(50))
    assert (euros.delivery, euros.free_from) == (Decimal(0), None)


@pytest.mark.parametrize(
    "prices",
    [[], [(0, "1")], [(2, "1"), (1, "1")], [(1, "1"), (1, "2")], [(1, "-1")], [(1, "0.001")]],
)
def test_prices_that_cannot_be_are_refused(w: World, prices: list[tuple[int, str]]) -> None:
    with pytest.raises(Invalid):
        state(w, *prices)
    assert not Offer.objects.exists()


def test_units_tax_and_currency_that_cannot_be_are_refused(w: World) -> None:
    with pytest.raises(Invalid):
        state(w, (1, "1"), units=0)
    for percent in ("-1", "101", "0.001"):
        with pytest.raises(Invalid):
            state(w, (1, "1"), tax=percent)
    north = offers.add_supplier(act(w.keeper), "North Medical")
    with pytest.raises(Invalid):
        offers.state_terms(act(w.keeper), north, currency="pounds")


def test_a_guide_states_nothing(w: World) -> None:
    north = offers.add_supplier(act(w.keeper), "North Medical")
    for does in (
        lambda: offers.add_supplier(act(w.guide), "South"),
        lambda: offers.match_name(act(w.guide), "North", north),
        lambda: offers.state_terms(act(w.guide), north, currency="GBP"),
        lambda: offers.end_offer(act(w.guide), state(w, (1, "1"))),
    ):
        with pytest.raises(NotAllowed):
            does()
