"""Chances as people say them."""

import pytest
from hypothesis import given, strategies as st

from kits.rules.planning.shares import Edge, Guess, Most, guess, icons, most, of_100, one_in


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0, Edge.HARDLY_ANY),
        (0.0049, Edge.HARDLY_ANY),
        (0.005, 1),
        (0.03, 3),
        (0.5, 50),
        (0.995, 99),
        (0.9951, Edge.NEARLY_ALL),
        (1, Edge.NEARLY_ALL),
    ],
)
def test_a_chance_is_so_many_of_a_hundred(chance: float, said: int | Edge) -> None:
    assert of_100(chance) == said


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_greater_chance_is_never_said_to_be_less(one: float, other: float) -> None:
    low, high = (_rank(of_100(each)) for each in sorted((one, other)))
    assert low <= high


def _rank(said: int | Edge) -> int:
    if isinstance(said, int):
        return said
    return 0 if said is Edge.HARDLY_ANY else 100


@pytest.mark.parametrize("chance", [-0.1, 1.1])
def test_what_is_no_chance_is_refused(chance: float) -> None:
    with pytest.raises(ValueError, match="chance"):
        of_100(chance)


def test_one_in_so_many_is_said_of_small_chances_alone() -> None:
    assert one_in(1 / 6) == 6
    assert one_in(0.004) is None
    assert one_in(0.88) is None
    assert icons(0.614) == 61


def test_of_one_thing_a_chance_is_a_guess() -> None:
    assert [guess(each) for each in (0.1, 0.5, 0.96)] == [Guess.UNLIKELY, Guess.OPEN, Guess.LIKELY]


def test_most_are_more_than_half() -> None:
    assert most({1: 31, 2: 9}) == Most(1, 31, 40)
    assert most({1: 20, 2: 20}) is None
    assert most({}) is None
