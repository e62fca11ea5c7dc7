"""Writing events, in the transaction of the change."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gearroom.core import clock
from kits.models import Event
from kits.rules.events import Subject, as_stored, event_type
from kits.services.events import marks
from kits.services.events.wake import wake


@dataclass(frozen=True)
class Draft:
    """An event to be written: its type, what it is about (the number of the subject that its type
    has, or of `subject`), what it says, and of which rooms it is (ids; without one, of the whole
    organisation)."""

    type: str
    about: int | str
    data: Any
    occurred_at: datetime
    room: int | None = None
    other_room: int | None = None
    subject: Subject | None = None


def write(drafts: Iterable[Draft]) -> list[Event]:
    """Write events, in the order given: two statements, however many they are."""
    now = clock.now()
    rows = []
    for draft in drafts:
        kind = event_type(draft.data, draft.type)
        # Whose it is comes first; the other only where it is another.
        room, other = draft.room or draft.other_room, draft.other_room
        rows.append(
            Event(
                type=kind.name,
                version=kind.version,
                subject=f"{draft.subject or kind.subject}:{draft.about}",
                room_id=room,
                other_room_id=other if other != room else None,
                occurred_at=draft.occurred_at,
                recorded_at=now,
                data=as_stored(draft.data),
            )
        )
    if not rows:
        return []
    marks.leave()
    wake()
    return Event.objects.bulk_create(rows, batch_size=1000)
