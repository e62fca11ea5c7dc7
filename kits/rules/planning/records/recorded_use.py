"""What recorded uses alone can bear to be said of how often a need comes up."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from kits.rules.planning.records import rates
from kits.rules.planning.records.rates import Cell

SHOWN_FROM = 20
"""From so many recorded uses on, they say how often a need comes up."""
HANDFUL_DAYS = 30
"""That there was no use says something from so many participant-days on."""


RARE = 1 / 1000
"""What is needed less than once in 1,000 participant-days may be called rare: one kit for ten
people goes years without it."""


class Bears(StrEnum):
    """What can be said."""

    NOTHING = "nothing"  # no trip is known, or a handful of days
    NONE_USED = "none-used"  # no use, in too few days to call it rare
    RARE = "rare"  # no use, in so many days that it is rare
    TOO_FEW = "too-few"  # some uses, fewer than are enough
    RATE = "rate"


@dataclass(frozen=True)
class RecordedUse:
    """Uses in participant-days, and what they bear: the `low` and `high` end of the middle 90 % of
    what is believed of the rate by them alone, in uses a participant-day, or, where there was no
    use, only `high`, below which the rate lies with 95 %. `at_least`: more may have been used."""

    uses: float
    days: float
    at_least: bool
    bears: Bears
    low: float | None = None
    high: float | None = None


def recorded_use(cell: Cell, dispersion: float) -> RecordedUse:
    """What a cell's records bear, where uses come together with a `dispersion` of 1 or more."""
    uses, days, open_ended = cell.least, cell.exposure, cell.open_ended
    if (uses == 0 and days < HANDFUL_DAYS) or days == 0:
        return RecordedUse(uses, days, open_ended, Bears.NOTHING)
    if uses >= SHOWN_FROM:
        low, high = rates.interval(rates.posterior(rates.VAGUE_SHAPE, 0.0, cell, dispersion))
        return RecordedUse(uses, days, open_ended, Bears.RATE, low, high)
    if uses or open_ended:
        return RecordedUse(uses, days, open_ended, Bears.TOO_FEW)
    high = rates.none_seen(days)
    bears = Bears.RARE if high <= RARE else Bears.NONE_USED
    return RecordedUse(0, days, False, bears, high=high)
