"""An event as other programs get it: by webhook and from `GET /api/v1/events/` alike."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import quote
from uuid import UUID

from django.db.models import QuerySet

from gearroom.core.acts import Actor
from kits.models import Entry, Event
from kits.services.lookup import find

_API = "/api/v1"


@dataclass(frozen=True)
class EventContent:
    """What is sent of an event. `room` is the slug of whose it is; `links` are addresses on this
    server, by what they lead to, as they are now, of what its reader may read."""

    id: UUID
    type: str
    version: int
    timestamp: datetime
    subject: str
    room: str | None
    data: Mapping[str, Any]
    links: Mapping[str, str]


def contents(events: Sequence[Event], reader: Actor) -> list[EventContent]:
    """Events (with their rooms) with the links that lead a reader on from them; a query for each
    kind of link, however many they are."""
    addresses = _addresses(events, reader)
    return [
        EventContent(
            id=event.message_id,
            type=event.type,
            version=event.version,
            timestamp=event.occurred_at,
            subject=event.subject,
            room=event.room.slug if event.room else None,
            data=event.data,
            links={
                name: known[event.data[name]]
                for name, known in addresses.items()
                if event.data.get(name) in known
            },
        )
        for event in events
    ]


def _addresses(events: Sequence[Event], reader: Actor) -> dict[str, dict[int, str]]:
    """By the name of a link: the address of each number that the events say under it, as far as
    the reader may read there."""
    entries = find.entries_of(reader) if reader.may("read_history") else Entry.objects.none()
    parts: dict[str, tuple[str, QuerySet[Any, Any]]] = {
        "entry": ("entries", entries.values_list("pk", "pk")),
        "kit": ("kits", find.kits_of(reader).values_list("pk", "name")),
        "trip": ("trips", find.trips_of(reader).values_list("pk", "source", "reference")),
    }
    numbers = {name: {event.data.get(name) for event in events} - {None} for name in parts}
    return {
        name: {pk: _path(path, *map(str, rest)) for pk, *rest in rows.filter(pk__in=numbers[name])}
        for name, (path, rows) in parts.items()
        if numbers[name]
    }


def _path(*parts: str) -> str:
    return "/".join([_API, *(quote(part, safe="") for part in parts), ""])
