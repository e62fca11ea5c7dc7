"""What an event says as it is stored: JSON, with instants in UTC."""

from dataclasses import asdict
from datetime import UTC, date, datetime
from typing import Any


def as_stored(data: Any) -> dict[str, Any]:
    """A dataclass of `kits.rules.events.facts` as JSON has it."""
    return {name: _plain(value) for name, value in asdict(data).items()}


def instant(value: datetime) -> str:
    """An instant in UTC."""
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return instant(value)
    if isinstance(value, date):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value
