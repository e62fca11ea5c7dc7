"""What counts as a number of units."""

from decimal import Decimal

import pytest
from hypothesis import given, strategies as st

from kits.rules.text.quantities import MOST, units


@given(st.integers(min_value=1, max_value=MOST))
def test_it_takes_every_whole_number_up_to_the_most(value: int) -> None:
    assert units(value) == value


def test_a_count_may_find_none_but_a_move_must_move_something() -> None:
    assert units(0, least=0) == 0
    with pytest.raises(match="1 or more"):
        units(0)


@given(st.integers(max_value=-1))
def test_it_refuses_a_negative_number_and_says_what_to_do(value: int) -> None:
    with pytest.raises(match="undo the entry"):
        units(value, least=0)


@given(st.integers(min_value=MOST + 1))
def test_it_refuses_a_huge_number(value: int) -> None:
    with pytest.raises(match="1,000,000"):
        units(value)


@pytest.mark.parametrize(
    "value", [True, False, None, "3", "", [3], {}, 2.0, 1e300, Decimal(3), b"3", 3 + 0j]
)
def test_it_refuses_what_is_no_whole_number(value: object) -> None:
    with pytest.raises(match="whole number"):
        units(value)


@pytest.mark.parametrize("value", [0.5, -2.5, float("nan"), float("inf")])
def test_it_refuses_parts_of_a_unit(value: float) -> None:
    with pytest.raises(match=r"units is .*, but it must be a whole number"):
        units(value)
