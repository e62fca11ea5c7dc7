"""Chances as people say them."""

import pytest

from kits.rules.planning.shares import Share, few_in_many, icons, one_in, share


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0, Share(0, 1000)),
        (0.0004, Share(0, 1000)),
        (0.001, Share(1, 1000)),
        (0.0049, Share(5, 1000)),
        (0.005, Share(5, 1000)),
        (0.0051, Share(1, 100)),
        (0.03, Share(3, 100)),
        (0.5, Share(50, 100)),
        (0.994, Share(99, 100)),
        (0.9951, Share(995, 1000)),
        (0.9999, Share(1000, 1000)),
        (1, Share(1000, 1000)),
    ],
)
def test_a_chance_is_so_many_of_a_hundred_or_of_a_thousand(chance: float, said: Share) -> None:
    assert share(chance) == said


@pytest.mark.parametrize("chance", [-0.1, 1.1])
def test_what_is_no_chance_is_refused(chance: float) -> None:
    with pytest.raises(ValueError, match="chance"):
        share(chance)


def test_one_in_so_many_is_said_of_small_chances_and_of_a_hundred_of_large_ones() -> None:
    assert one_in(1 / 6) == 6
    assert one_in(0.0009) is None
    assert few_in_many(0.88) == 88
    assert few_in_many(0.9999) == 99
    assert few_in_many(0.4) is None
    assert icons(0.614) == 61
