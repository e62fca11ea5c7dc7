"""The stream of events that another program reads, page by page, each going on from a cursor.

A cursor is a position and, besides, the last event up to it. Up to there nothing more comes (see
`marks`), so that is always the same one, unless a backup was put back: then positions are given
once more to other events, and who went on from an old one would miss some. So it is refused.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Actor, Unacceptable
from gearroom.core.models import Room
from kits.models import Event
from kits.services.events.content import EventContent, contents
from kits.services.events.readers import reader
from kits.services.events.reading import events_after

CURSOR_FORM = r"^[0-9]{1,18}-[0-9a-f]{8}$"
_START = "0-00000000"
"""Before the first event."""


@dataclass(frozen=True)
class EventPage:
    """Events in order, and the cursor to go on from. `more`: there were more than the limit."""

    events: Sequence[EventContent]
    cursor: str
    more: bool


def read(
    actor: Actor,
    *,
    after: str = _START,
    limit: int,
    event_type: str | None = None,
    room: Room | None = None,
) -> EventPage:
    """The events after a cursor, of the rooms for which somebody may read them and of the whole
    organisation: of one type, or of one room alone.

    Raises NotAllowed, Unacceptable: `cursor-of-another-time`.
    """
    actor.require("read_events", room.pk if room else None)
    who = reader(actor, "read_events", room.pk if room else None)
    page = events_after(
        _position(after),
        limit=limit,
        types=None if event_type is None else [event_type],
        reader=who,
    )
    return EventPage(contents(page.events, who), _cursor(page.position), page.more)


def _cursor(position: int) -> str:
    last = Event.objects.filter(id__lte=position).order_by("-id").only("message_id").first()
    return f"{position}-{last.message_id.hex[:8]}" if last is not None else _START


def _position(cursor: str) -> int:
    position = int(cursor.partition("-")[0])
    if _cursor(position) != cursor:
        raise Unacceptable(
            "cursor-of-another-time",
            _(
                "This cursor does not fit the events on record, perhaps because a backup was "
                "restored. Read again what you need to know, then the events from the oldest on."
            ),
        )
    return position
