"""An event as other programs get it: by webhook and from `GET /api/v1/events/` alike."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import quote
from uuid import UUID

from kits.models import Event, Kit, Trip

_API = "/api/v1"


@dataclass(frozen=True)
class EventContent:
    """What is sent of an event. `room` is the slug of whose it is; `links` are addresses on this
    server, by what they lead to, as they are now."""

    id: UUID
    type: str
    version: int
    timestamp: datetime
    subject: str
    room: str | None
    data: Mapping[str, Any]
    links: Mapping[str, str]


def contents(events: Sequence[Event]) -> list[EventContent]:
    """Events (with their rooms) with the links that lead on from them; two queries, however many
    they are."""
    kits = {event.data.get("kit") for event in events} - {None}
    trips = {event.data.get("trip") for event in events} - {None}
    names = dict(Kit.objects.filter(pk__in=kits).values_list("pk", "name")) if kits else {}
    rows = Trip.objects.filter(pk__in=trips).values_list("pk", "source", "reference")
    references = {pk: (source, reference) for pk, source, reference in rows} if trips else {}
    return [_content(event, names, references) for event in events]


def _content(
    event: Event, names: Mapping[int, str], references: Mapping[int, tuple[str, str]]
) -> EventContent:
    entry, kit, trip = (event.data.get(name) for name in ("entry", "kit", "trip"))
    links = {}
    if entry is not None:
        links["entry"] = _path("entries", str(entry))
    if kit in names:
        links["kit"] = _path("kits", names[kit])
    if trip in references:
        links["trip"] = _path("trips", *references[trip])
    return EventContent(
        id=event.message_id,
        type=event.type,
        version=event.version,
        timestamp=event.occurred_at,
        subject=event.subject,
        room=event.room.slug if event.room else None,
        data=event.data,
        links=links,
    )


def _path(*parts: str) -> str:
    return "/".join([_API, *(quote(part, safe="") for part in parts), ""])
