"""Offers as somebody pasted them."""

from decimal import Decimal

import pytest
from hypothesis import given, strategies as st

from kits.rules.buying.pasted_offers import PastedOffer, offers


@pytest.mark.parametrize(
    ("text", "name", "units", "price", "currency"),
    [
        ("Gauze swab 10 × 10 cm\t100\t4.50", "Gauze swab 10 × 10 cm", 100, "4.50", ""),
        ('"Sling","10","£12.00"', "Sling", 10, "12.00", "GBP"),
        ("Dressing;box of 6;7,20 €", "Dressing", 6, "7.20", "EUR"),
        ("plasters, pack of 50, 3,20 €", "plasters", 50, "3.20", "EUR"),
        ("Foil blanket £1.99", "Foil blanket", None, "1.99", "GBP"),
        ("Gloves, 100 per box, GBP 6.40", "Gloves", 100, "6.40", "GBP"),
        ("Shears - 4.95", "Shears", None, "4.95", ""),
        ("Triangular bandage", "Triangular bandage", None, None, ""),
        ("Ibuprofen 400", "Ibuprofen 400", None, None, ""),
        ("Tape\t\t1.10", "Tape", None, "1.10", ""),
        ("Item;Units;Price", "Item", None, None, ""),
    ],
)
def test_a_line_says_what_how_many_and_how_much(
    text: str, name: str, units: int | None, price: str | None, currency: str
) -> None:
    expected = PastedOffer(text, name, units, Decimal(price) if price else None, currency)
    assert offers(text) == [expected]


@given(st.text(max_size=300))
def test_every_line_comes_out_once_whatever_it_is(text: str) -> None:
    found = offers(text)
    assert [each.text for each in found] == [s.strip() for s in text.splitlines() if s.strip()]
    for each in found:
        assert each.name
        assert each.units is None or each.units > 0
        assert each.price is None or each.price >= 0


@given(
    st.sampled_from(["Sling", "Gauze swab 10 × 10 cm", "Dressing, large"]),
    st.integers(1, 9999),
    st.integers(0, 99999),
    st.sampled_from(["\t", ";"]),
)
def test_a_row_of_a_spreadsheet_comes_back_as_it_was(
    name: str, units: int, pennies: int, separator: str
) -> None:
    price = Decimal(pennies) / 100
    (found,) = offers(separator.join([name, str(units), f"{price:.2f}"]))
    assert (found.name, found.units, found.price) == (name, units, price)
