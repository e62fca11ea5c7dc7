"""The reports that people send: all that the model knows of the world."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any


@dataclass
class Report:
    """One act as it was sent: `kit` (or "" ), `act`, who, the JSON body and the path; `claimed` by
    the sender's corrected clock. `fixed` is what was settled when it was first recorded, such as
    which batch was taken; `entries` are the numbers that the program gave it. `sent` is the body
    as it went, where that says the same in another way."""

    number: int
    act: str
    by: str
    path: str
    body: dict[str, Any]
    kit: str = ""
    recorded: datetime = field(default_factory=lambda: datetime.now(UTC))
    claimed: datetime | None = None
    accepted: bool = False
    entries: list[int] = field(default_factory=list)
    undoes: tuple[int, ...] = ()
    sent: dict[str, Any] | None = None
    fixed: dict[str, Any] = field(default_factory=dict)
