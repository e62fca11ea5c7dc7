"""What of many lines is said first: the few that matter most."""

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import TypeVar

Line = TypeVar("Line")

MOST = 5
"""So many lines are read at a glance."""


def foremost(
    lines: Iterable[Line],
    value: Callable[[Line], float | Decimal | None],
    *,
    least: float | Decimal,
    most: int = MOST,
) -> list[Line]:
    """Of the lines with a value of `least` or more the greatest `most`, the greatest first; equals
    in the order in which they came."""
    worth = [
        (number, each) for each in lines if (number := value(each)) is not None and number >= least
    ]
    worth.sort(key=lambda pair: pair[0], reverse=True)
    return [each for _number, each in worth[:most]]
