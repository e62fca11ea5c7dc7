"""What the schema says of a decimal number is what its field takes."""

import re
from decimal import Decimal

from hypothesis import given, strategies as st
from rest_framework import serializers

from gearroom.core.api.openapi.description import describe


@given(digits=st.integers(3, 6), most=st.integers(1, 999), tried=st.data())
def test_a_number_is_in_the_pattern_just_where_it_is_not_above_the_largest(
    digits: int, most: int, tried: st.DataObject
) -> None:
    field = serializers.DecimalField(digits + 2, 2, min_value=0, max_value=most)
    pattern = describe(field, {})["pattern"]
    near = st.decimals(0, most + 2, places=2) | st.sampled_from([Decimal(most), Decimal(most) + 1])
    number = tried.draw(near)
    assert bool(re.search(pattern, str(number))) == (number <= most)
    text = tried.draw(st.from_regex(pattern))
    assert field.run_validation(text) <= most


def test_a_number_without_a_largest_has_any_of_its_digits() -> None:
    pattern = describe(serializers.DecimalField(5, 2), {})["pattern"]
    assert all(re.search(pattern, text) for text in ("0", "999.99", "-1.5"))
    assert not any(re.search(pattern, text) for text in ("1000", "1.234", "+1", ""))
