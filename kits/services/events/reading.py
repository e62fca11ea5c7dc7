"""Reading events in order, going on from a position: gap-free (see `marks`), and nothing is
written."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from gearroom.core.acts import Actor
from kits.models import Event
from kits.services.events import marks
from kits.services.events.readers import readable


@dataclass(frozen=True)
class Page:
    """Events in order, and the position to go on from: nothing before it is left to read. `more`:
    there was more than the limit."""

    events: Sequence[Event]
    position: int
    more: bool


def events_after(
    position: int,
    *,
    limit: int,
    types: Collection[str] | None = None,
    reader: Actor | None = None,
) -> Page:
    """The events after a position (0: from the first), in order; of some types alone, or those that
    a reader may read. The position goes on although none of them was wanted."""
    settled = marks.horizon()
    rows = Event.objects.all() if reader is None else readable(reader)
    rows = rows.filter(id__gt=position, id__lte=settled).select_related("room")
    if types is not None:
        rows = rows.filter(type__in=types)
    events = list(rows.order_by("id")[: limit + 1])
    if len(events) > limit:
        return Page(events[:limit], events[limit - 1].pk, more=True)
    return Page(events, max(position, settled), more=False)
