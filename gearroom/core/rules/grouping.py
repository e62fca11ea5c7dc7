"""What belongs together, by what it has in common: all of it, or how many it comes to."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from typing import TypeVar

K = TypeVar("K")
V = TypeVar("V")


def grouped(pairs: Iterable[tuple[K, V]]) -> defaultdict[K, list[V]]:
    """Return the values of each key, keys and values in the order given; a key that is not there
    has an empty list."""
    groups: defaultdict[K, list[V]] = defaultdict(list)
    for key, value in pairs:
        groups[key].append(value)
    return groups


def summed(pairs: Iterable[tuple[K, int]]) -> Counter[K]:
    """Return the sum of the numbers of each key, keys in the order given."""
    sums: Counter[K] = Counter()
    for key, number in pairs:
        sums[key] += number
    return sums
