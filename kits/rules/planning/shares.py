"""Chances as people say them: so many of a hundred trips, one trip in so many.

All chances are of a hundred, so that any two of them can be held beside each other.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

HUNDRED = 100
LEAST_CHANCE = 0.005
"""A smaller chance is said of none of a hundred."""
MOSTLY = 0.5
"""What holds for more than this share holds mostly."""


class Edge(StrEnum):
    """Chances that no whole number of a hundred says."""

    HARDLY_ANY = "hardly-any"
    NEARLY_ALL = "nearly-all"


def of_100(chance: float) -> int | Edge:
    """A chance (0 to 1) as a number of 100, from 1 to 99, or which end it is nearer to."""
    if not 0 <= chance <= 1:
        raise ValueError("A chance is from 0 to 1.")
    if chance < LEAST_CHANCE:
        return Edge.HARDLY_ANY
    return Edge.NEARLY_ALL if chance > 0.995 else min(max(round(chance * HUNDRED), 1), HUNDRED - 1)


def one_in(chance: float) -> int | None:
    """One in how many; None where that says too little (above 0.4) or is fewer than one in 100."""
    return round(1 / chance) if LEAST_CHANCE <= chance <= 0.4 else None


def icons(chance: float) -> int:
    """How many of a hundred icons."""
    return round(chance * HUNDRED)


class Guess(StrEnum):
    """How a chance is said of one thing, of which there is no number."""

    UNLIKELY = "unlikely"
    OPEN = "open"
    LIKELY = "likely"


def guess(chance: float) -> Guess:
    """Below a quarter, above three quarters, or in between."""
    if chance < 0.25:
        return Guess.UNLIKELY
    return Guess.LIKELY if chance > 0.75 else Guess.OPEN


@dataclass(frozen=True)
class Most:
    """What most of `of` are: `n` of them are `key`."""

    key: int
    n: int
    of: int


def most(counts: Mapping[int, int]) -> Most | None:
    """What more than half of all are; None where nothing is."""
    whole = sum(counts.values())
    for key, n in counts.items():
        if n > MOSTLY * whole:
            return Most(key, n, whole)
    return None
