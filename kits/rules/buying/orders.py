"""What becomes of an order to a supplier: what of each line has arrived, is still to come, came on
top, or was cancelled. All of it is counted in units of the item, whatever packs it comes in."""

import enum
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

COUNTS_AFTER_DAYS = 14
"""What is not here so many days after it was expected is no longer counted on."""


class OrderState(enum.StrEnum):
    """How far an order is."""

    DRAFT = "draft"
    ORDERED = "ordered"
    PARTLY_ARRIVED = "partly-arrived"
    RECEIVED = "received"
    CANCELLED = "cancelled"


@dataclass(frozen=True)
class Progress:
    """Units of a line that were ordered (1 or more), that arrived, and that were cancelled."""

    ordered: int
    arrived: int = 0
    cancelled: int = 0

    @property
    def open(self) -> int:
        """Units still to come."""
        return max(0, self.ordered - self.arrived - self.cancelled)

    @property
    def extra(self) -> int:
        """Units that arrived on top of what was ordered and not cancelled."""
        return max(0, self.arrived + self.cancelled - self.ordered)


def state(lines: Iterable[Progress], *, is_draft: bool) -> OrderState:
    """How far an order with these lines (one or more) is."""
    if is_draft:
        return OrderState.DRAFT
    known = list(lines)
    arrived = any(line.arrived for line in known)
    if any(line.open for line in known):
        return OrderState.PARTLY_ARRIVED if arrived else OrderState.ORDERED
    return OrderState.RECEIVED if arrived else OrderState.CANCELLED


def meet(lines: Sequence[Progress], units: int) -> list[int]:
    """How many of so many `units` (1 or more) that arrived go to each of these lines of one item
    (one or more): as many as are open, the first line first. What is more than all of them goes to
    the last line that takes some, or else to the last."""
    taken, left = [], units
    for line in lines:
        taken.append(min(left, line.open))
        left -= taken[-1]
    last = max((at for at, of_line in enumerate(taken) if of_line), default=len(taken) - 1)
    taken[last] += left
    return taken


def is_missing(expected_on: date, today: date) -> bool:
    """Whether an order is so long overdue that nobody should count on it."""
    return today > expected_on + timedelta(days=COUNTS_AFTER_DAYS)
