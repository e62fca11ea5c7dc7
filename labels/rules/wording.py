"""How labels word dates and seals. English, as the pages; months are written, never numbered."""

from dataclasses import dataclass
from datetime import date

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

PREVIEW_MARK = "PREVIEW – not for use"


def long_date(day: date) -> str:
    """Return `31 May 2027`."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def short_date(day: date) -> str:
    """Return `31 MAY 2027`."""
    return f"{day.day} {MONTHS[day.month - 1][:3].upper()} {day.year}"


@dataclass(frozen=True)
class Expiry:
    """What a batch's label says of its date.

    `last_day`: the last day it is good (a printed month is good through its last day), or None.
    `needed`: False for things that need no date; a needed date that is None is not known.
    """

    last_day: date | None
    needed: bool = True

    @property
    def words(self) -> str:
        if self.last_day:
            return f"Use by {long_date(self.last_day)}"
        return "Date not known: not for a kit" if self.needed else "No use-by date"

    @property
    def band(self) -> str:
        """The month first and large, to be read from across the store; empty for no date."""
        if self.last_day:
            return f"{MONTHS[self.last_day.month - 1][:3].upper()} {self.last_day.year}"
        return "NO DATE?" if self.needed else ""
