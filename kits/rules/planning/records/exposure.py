"""How much a kit was exposed to a need: participant-days, shared among the trip's kits."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Known(StrEnum):
    """What is known of a kit's use on a trip."""

    NONE = "none"  # sealed, or closed and nothing used: a true zero
    COUNTED = "counted"
    AT_LEAST = "at-least"  # all that was carried went
    BETWEEN = "between"  # a difference at a count
    MISSING = "missing"  # handed back and never counted
    LEFT_OUT = "left-out"  # use in class, and trips that say nothing of the need


@dataclass(frozen=True)
class TripDays:
    """A trip: `people` (1 or more) from `first` to `last`, both of them days of it."""

    people: int
    first: date
    last: date

    def __post_init__(self) -> None:
        if self.people < 1 or self.last < self.first:
            raise ValueError("A trip has people, and ends no earlier than it begins.")

    @property
    def days(self) -> int:
        """Local days, both ends counted."""
        return (self.last - self.first).days + 1

    @property
    def participant_days(self) -> int:
        """One for each person and day."""
        return self.people * self.days


def shares(trip: TripDays, serves: Mapping[int, int]) -> dict[int, float]:
    """The trip's participant-days for each kit (by id) whose list serves the need, in proportion to
    how many people its list serves (1 or more)."""
    if any(people < 1 for people in serves.values()):
        raise ValueError("A kit list serves one person or more.")
    whole = sum(serves.values())
    return {kit: trip.participant_days * people / whole for kit, people in serves.items()}


def uses(units: int, units_per_use: int) -> int:
    """Uses where only a total of units was logged: as many as they would have been, rounded up."""
    if units < 0 or units_per_use < 1:
        raise ValueError("Units are 0 or more, and a use takes one or more.")
    return -(-units // units_per_use)
