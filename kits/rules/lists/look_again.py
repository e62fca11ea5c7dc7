"""When something that a list leaves out on purpose is due for another look."""

from collections.abc import Iterable
from datetime import date


def is_due(on: date | None, today: date, looked_at: Iterable[date | None]) -> bool:
    """Whether a day to look again has come, and nobody has looked since: of the days in
    `looked_at` none is that day or later. Days after today count for nothing: they are slips."""
    if on is None or on > today:
        return False
    return not any(day is not None and on <= day <= today for day in looked_at)
