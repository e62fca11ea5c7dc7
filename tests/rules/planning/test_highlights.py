"""The few lines that are said first."""

from itertools import pairwise

from hypothesis import given, strategies as st

from kits.rules.planning.highlights import foremost

VALUES = st.lists(st.none() | st.floats(0, 1))


@given(VALUES, st.floats(0, 1), st.integers(1, 8))
def test_none_that_is_left_out_is_greater_than_one_that_is_said(
    values: list[float | None], least: float, most: int
) -> None:
    lines = list(enumerate(values))
    first = foremost(lines, lambda line: line[1], least=least, most=most)
    said = [value for _at, value in first if value is not None]
    worth = [each for each in values if each is not None and each >= least]
    assert said == sorted(worth, reverse=True)[:most]


@given(VALUES)
def test_equals_stay_in_their_order(values: list[float | None]) -> None:
    first = foremost(list(enumerate(values)), lambda line: line[1], least=0)
    assert all(a[0] < b[0] for a, b in pairwise(first) if a[1] == b[1])
