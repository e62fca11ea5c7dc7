"""Events for other programs: written with the change, and read without missing any."""

from kits.services.events.content import EventContent, contents
from kits.services.events.marks import horizon
from kits.services.events.readers import readable, reader
from kits.services.events.reading import Page, events_after
from kits.services.events.writing import Draft, write

__all__ = [
    "Draft",
    "EventContent",
    "Page",
    "contents",
    "events_after",
    "horizon",
    "readable",
    "reader",
    "write",
]
