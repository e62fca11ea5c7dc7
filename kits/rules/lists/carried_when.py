"""When something that a list leaves out is carried all the same."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Occasion:
    """What is asked for, or what a trip is: hazards, activities (keys), hours to definitive care
    (None: not said)."""

    hazards: frozenset[str] = frozenset()
    activities: frozenset[str] = frozenset()
    hours_to_care: Decimal | None = None


def occasion(
    hazards: Iterable[str], activities: Iterable[str], hours_to_care: Decimal | None
) -> Occasion:
    """An occasion of what lists and trips keep."""
    return Occasion(frozenset(hazards), frozenset(activities), hours_to_care)


def meets(trip: Occasion, when: Occasion) -> bool:
    """Whether a trip has any of what something is carried for: a hazard, an activity, or as many
    hours to care or more."""
    return bool(
        trip.hazards & when.hazards
        or trip.activities & when.activities
        or (
            when.hours_to_care is not None
            and trip.hours_to_care is not None
            and trip.hours_to_care >= when.hours_to_care
        )
    )
