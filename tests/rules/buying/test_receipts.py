"""What deliveries teach."""

from datetime import date, timedelta
from decimal import Decimal
from statistics import median

from hypothesis import given, strategies as st

from kits.rules.buying.receipts import (
    Days,
    Delivery,
    dearer,
    lead_days,
    lead_times,
    prices,
    shelf_lives,
)

DAY = timedelta(days=1)
TODAY = date(2026, 11, 25)
days = st.integers(-400, 400).map(lambda n: TODAY + n * DAY)
money = st.none() | st.integers(0, 9999).map(lambda n: Decimal(n) / 100)
deliveries = st.lists(
    st.builds(
        Delivery,
        item=st.integers(1, 3),
        supplier=st.sampled_from(["", "North", "South"]),
        came_on=days,
        units=st.integers(1, 50),
        price=money,
        currency=st.sampled_from(["GBP", "EUR"]),
        expiry=st.none() | days,
        ordered_on=st.none() | days,
    )
)


@given(deliveries)
def test_shelf_lives_are_medians_of_what_came_good(known: list[Delivery]) -> None:
    found = shelf_lives(known)
    for (item, supplier), learned in found.items():
        lives = [
            (each.expiry - each.came_on).days
            for each in known
            if each.item == item
            and supplier in (None, each.supplier)
            and each.expiry is not None
            and each.expiry > each.came_on
        ]
        assert learned == Days(round(median(lives)), len(lives))
        assert supplier != ""


@given(deliveries)
def test_no_lead_time_is_below_0_and_all_suppliers_have_as_many_as_each_together(
    known: list[Delivery],
) -> None:
    found = lead_times(known)
    assert all(learned.days >= 0 for learned in found.values())
    for item in {item for item, _ in found}:
        of_suppliers = sum(n.deliveries for (i, s), n in found.items() if i == item and s)
        unnamed = sum(
            each.item == item
            and each.supplier == ""
            and each.ordered_on is not None
            and each.ordered_on <= each.came_on
            for each in known
        )
        assert found[item, None].deliveries == of_suppliers + unnamed


@given(deliveries)
def test_prices_are_in_order_and_multiply_out(known: list[Delivery]) -> None:
    found = prices(known)
    assert sum(map(len, found.values())) == sum(each.price is not None for each in known)
    for history in found.values():
        assert [each.day for each in history] == sorted(each.day for each in history)
    paid = sum((each.price for each in known if each.price is not None), Decimal(0))
    total = sum((each.each * each.units for of in found.values() for each in of), Decimal(0))
    assert abs(paid - total) < Decimal("0.0001")


def test_a_stated_lead_time_holds_until_three_deliveries_say_otherwise() -> None:
    assert lead_days(None, 14) == lead_days(Days(3, 2), 14) == 14
    assert lead_days(Days(3, 3), 14) == 3
    assert lead_days(Days(0, 5), 14) == 0


def test_a_price_is_compared_with_the_one_before_in_its_currency() -> None:
    def paid(ago: int, price: str, currency: str) -> Delivery:
        return Delivery(1, "", TODAY - ago * DAY, 10, Decimal(price), currency)

    rising = prices([paid(1, "12", "GBP"), paid(2, "99", "EUR"), paid(3, "10", "GBP")])[1]
    assert dearer(rising) == Decimal("0.2")
    assert dearer(rising[1:2]) is None
    assert dearer([]) is None
    assert dearer(prices([paid(1, "12", "GBP"), paid(3, "0", "GBP")])[1]) is None
