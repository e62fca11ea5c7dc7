"""What a season wasted and saved: nothing is added up across currencies, nothing is left out."""

from datetime import date, timedelta
from decimal import Decimal

from hypothesis import given, strategies as st

from kits.rules.buying.receipts import UnitPrice
from kits.rules.buying.season_money import Cause, Compared, SeasonMoney, Worth, compared, worth

DAY = date(2026, 5, 1)
EACH = st.decimals(0, 50, places=2)
CURRENCIES = st.sampled_from(["EUR", "GBP"])


def paid(each: str, *, days: int = 0, currency: str = "GBP", units: int = 1) -> UnitPrice:
    return UnitPrice(DAY + timedelta(days=days), "", Decimal(each), currency, units)


PRICES = st.dictionaries(
    st.integers(1, 4),
    st.lists(st.builds(lambda e, c: paid(str(e), currency=c), EACH, CURRENCIES), min_size=1),
)
UNITS = st.lists(st.tuples(st.integers(1, 5), st.integers(1, 30)), max_size=8)


def test_units_are_worth_the_last_price_each_currency_by_itself() -> None:
    prices = {1: [paid("1.00"), paid("0.335")], 2: [paid("2.00", currency="EUR")]}
    assert worth([(1, 3), (2, 1), (3, 4)], prices) == Worth(
        8, {"EUR": Decimal("2.00"), "GBP": Decimal("1.01")}, 4
    )


@given(UNITS, UNITS, PRICES)
def test_parts_add_up_to_the_whole(
    one: list[tuple[int, int]], other: list[tuple[int, int]], prices: dict[int, list[UnitPrice]]
) -> None:
    whole = worth(one + other, prices)
    assert whole == worth(one, prices) + worth(other, prices) == worth(other + one, prices)
    assert whole.units == sum(units for _item, units in one + other)
    assert whole.unpriced == sum(u for item, u in one + other if item not in prices)


def test_what_is_bought_is_held_against_the_last_price_before_in_its_currency() -> None:
    history = {1: [paid("1.00"), paid("0.10", currency="EUR", days=1), paid("0.80", days=5)]}
    cheaper = compared([(1, paid("0.80", days=5, units=10))], history)
    assert cheaper == Compared({"GBP": Decimal("2.00")}, 10)
    dearer = compared([(1, paid("1.50", days=9, units=2))], history)
    assert dearer == Compared({"GBP": Decimal("-1.40")}, 2)


def test_the_first_price_of_something_and_one_of_the_same_day_save_nothing() -> None:
    history = {1: [paid("1.00"), paid("0.50")]}
    assert compared([(1, paid("0.50")), (2, paid("3.00", days=9))], history) == Compared()


def test_rooms_are_added_and_a_year_of_which_a_part_is_not_known_is_no_measure() -> None:
    gone, nothing = Worth(2, {"GBP": Decimal(1)}), Worth()
    one = SeasonMoney({Cause.OTHER: gone}, year_before=gone)
    other = SeasonMoney({Cause.OTHER: gone, Cause.OUT_OF_DATE: gone}, year_before=None)
    both = one + other
    assert both.wasted == {Cause.OUT_OF_DATE: gone, Cause.OTHER: gone + gone}
    assert both.all_wasted == Worth(6, {"GBP": Decimal(3)})
    assert both.year_before is None
    assert (one + SeasonMoney(year_before=nothing)).year_before == gone
