"""Events for other programs: which there are, and what each of them says."""

from kits.rules.events.registry import EVENT_TYPES, EventType, Subject, event_type
from kits.rules.events.stored import as_stored

__all__ = ["EVENT_TYPES", "EventType", "Subject", "as_stored", "event_type"]
