"""How many units a use takes: what is stated, and what was seen where only one use was reported."""

from collections.abc import Mapping

STATED_WEIGHT = 2.0
"""What is stated counts for so many reports."""
MOST_UNITS = 16
"""A use takes no more units; more in one report are taken for that many."""


def chances(stated: int, seen: Mapping[int, int]) -> list[float]:
    """The chance of 1, 2 … units a use: the mean of a Dirichlet distribution that is centred on
    `stated` units (1 to 16), after reports of single uses (`seen`: how many reports of each size).
    """
    if not 1 <= stated <= MOST_UNITS:
        raise ValueError(f"A use takes from 1 to {MOST_UNITS} units.")
    if any(size < 1 or count < 0 for size, count in seen.items()):
        raise ValueError("Sizes are 1 or more, and counts 0 or more.")
    weights = [0.0] * MOST_UNITS
    weights[stated - 1] = STATED_WEIGHT
    for size, count in seen.items():
        weights[min(size, MOST_UNITS) - 1] += count
    while weights[-1] == 0:
        weights.pop()
    whole = sum(weights)
    return [weight / whole for weight in weights]
