"""How labels word dates; months are written, never numbered."""

from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.sentences import Sentence, say

_MONTHS = (
    say("JAN"),
    say("FEB"),
    say("MAR"),
    say("APR"),
    say("MAY"),
    say("JUN"),
    say("JUL"),
    say("AUG"),
    say("SEP"),
    say("OCT"),
    say("NOV"),
    say("DEC"),
)

PREVIEW_MARK = say("PREVIEW – not for use")


def short_date(day: date) -> Sentence:
    """`31 MAY 2027`."""
    return say(
        "%(day)d %(month)s %(year)d", day=day.day, month=_MONTHS[day.month - 1], year=day.year
    )


@dataclass(frozen=True)
class Expiry:
    """What a batch's label says of its date.

    `last_day`: the last day it is good (a printed month is good through its last day), or None.
    `needed`: False for items that need no date; a needed date that is None is not known.
    """

    last_day: date | None
    needed: bool = True

    @property
    def words(self) -> Sentence:
        if self.last_day:
            return say("Expiry %(day)s", day=self.last_day)
        return (
            say("Expiry date not known: not for use in a kit")
            if self.needed
            else say("No expiry date")
        )

    @property
    def band(self) -> Sentence | str:
        """The month first and large, to be read from across the store; empty for no date."""
        if self.last_day:
            return say(
                "%(month)s %(year)d",
                month=_MONTHS[self.last_day.month - 1],
                year=self.last_day.year,
            )
        return say("NO DATE?") if self.needed else ""
