"""When people are reminded of a signature that ends, and until when it is extended."""

import calendar
from datetime import date, timedelta

REMINDER_DAYS = (60, 30, 7)
"""So many days before the last day of a signature its adviser is reminded, the most first."""


def step(until: date, today: date) -> int | None:
    """Return which of `REMINDER_DAYS` was passed last for a signature that holds through `until`;
    None where it holds for longer, or has ended."""
    left = (until - today).days
    return min((days for days in REMINDER_DAYS if 0 <= left <= days), default=None)


def extended(until: date, today: date) -> date:
    """Return the last day of a signature that is extended by a year: from its own last day, or
    from the day before today where it has ended. A leap day becomes the 28th."""
    start = max(until, today - timedelta(days=1))
    last = calendar.monthrange(start.year + 1, start.month)[1]
    return date(start.year + 1, start.month, min(start.day, last))
