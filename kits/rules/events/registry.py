"""Every type of event: whom or what it is about, what it says, and an example. A reader that keeps
the last of each says where things stand; one that misses none may rely on it.

A type never changes what it says: a field may be added; anything else is a new version.
"""

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from kits.rules.events import facts


class Subject(enum.StrEnum):
    """What an event is about. Events of one subject come in the order in which they happened."""

    KIT = "kit"
    TRIP = "trip"
    RECALL = "recall"
    STOCK = "stock"
    ENTRY = "entry"


@dataclass(frozen=True)
class EventType:
    """One type of event. `data` is the dataclass of what it says, in `version`."""

    name: str
    subject: Subject
    data: type[Any]
    description: str
    example: Mapping[str, Any]
    version: int = 1


_OUT = {
    "entry": 4711,
    "kit": 12,
    "section": None,
    "out": True,
    "checkout": 815,
    "holder": 17,
    "trip": 42,
    "due_at": "2027-05-04T16:30:00Z",
    "late": False,
}
_IN = {**_OUT, "entry": 4720, "out": False, "holder": None, "due_at": None}
_ON_HOLD = {"entry": 4730, "kit": 12, "reasons": ["drying"]}
_KIT = {"entry": 4740, "kit": 12}
_TRIP = {
    "entry": 4750,
    "trip": 42,
    "revision": 1,
    "changed": [],
    "departs_at": "2027-05-04T07:30:00Z",
    "returns_at": "2027-05-04T16:30:00Z",
    "first_day": "2027-05-04",
    "last_day": "2027-05-04",
    "cancelled": False,
}
_COVERED = {"trip": 42, "coverage": "covered", "before": "uncovered", "kits": [12]}
_RESERVED = {"entry": 4760, "kit": 12, "trip": 42}
_STOCK = {"room": 1, "item": 3, "stock": 4, "on_order": 0, "level": 10}

EVENT_TYPES: Mapping[str, EventType] = {
    row.name: row
    for row in (
        EventType(
            "kit.checked_out",
            Subject.KIT,
            facts.Custody,
            "Somebody took a kit, or a section of it; also in an emergency.",
            _OUT,
        ),
        EventType(
            "kit.checked_in",
            Subject.KIT,
            facts.Custody,
            "A kit, or a section of it, was handed back.",
            _IN,
        ),
        EventType(
            "kit.passed_on",
            Subject.KIT,
            facts.Custody,
            "A kit went from one person to another.",
            {**_OUT, "entry": 4715, "holder": 18},
        ),
        EventType(
            "kit.due_changed",
            Subject.KIT,
            facts.Custody,
            "What is out is due at another time.",
            {**_OUT, "entry": 4716, "due_at": "2027-05-04T18:00:00Z"},
        ),
        EventType(
            "kit.custody_corrected",
            Subject.KIT,
            facts.Custody,
            "An act was undone, and this is who has the kit without it.",
            {**_IN, "entry": 4717},
        ),
        EventType(
            "kit.overdue",
            Subject.KIT,
            facts.Overdue,
            "What is out is past due, once for each time that it was due at.",
            {
                "kit": 12,
                "section": None,
                "checkout": 815,
                "holder": 17,
                "trip": 42,
                "due_at": "2027-05-04T16:30:00Z",
            },
        ),
        EventType(
            "kit.readiness_changed",
            Subject.KIT,
            facts.Readiness,
            "The word on a kit is another than was last announced, for whatever reason: what is "
            "in it, a new day, another trip, another kit list.",
            {"kit": 12, "word": "low", "before": "ready", "through": "2027-05-04", "trip": 42},
        ),
        EventType(
            "kit.withheld", Subject.KIT, facts.OnHold, "A kit is on hold for a reason.", _ON_HOLD
        ),
        EventType(
            "kit.released",
            Subject.KIT,
            facts.OnHold,
            "A reason why a kit was on hold is gone; others may stay.",
            {**_ON_HOLD, "entry": 4731, "reasons": []},
        ),
        EventType("kit.added", Subject.KIT, facts.KitChanged, "A kit was added.", _KIT),
        EventType(
            "kit.changed",
            Subject.KIT,
            facts.KitChanged,
            "What is set of a kit was changed: its name, its home, its kit list.",
            {**_KIT, "entry": 4741},
        ),
        EventType(
            "kit.retired",
            Subject.KIT,
            facts.KitChanged,
            "A kit is out of use for good.",
            {**_KIT, "entry": 4742},
        ),
        EventType("trip.created", Subject.TRIP, facts.TripChanged, "A trip was added.", _TRIP),
        EventType(
            "trip.updated",
            Subject.TRIP,
            facts.TripChanged,
            "A trip was changed; also one that takes place after all, or leaves from this gear "
            "room now: then read by its link what is reserved for it, and whether it is covered.",
            {**_TRIP, "entry": 4751, "revision": 2, "changed": ["people"]},
        ),
        EventType(
            "trip.moved",
            Subject.TRIP,
            facts.TripMoved,
            "A trip leaves no longer from this gear room. Where it leaves from now gets "
            "trip.updated.",
            {"entry": 4751, "trip": 42},
        ),
        EventType(
            "trip.cancelled",
            Subject.TRIP,
            facts.TripChanged,
            "A trip does not take place. Its kits are free.",
            {**_TRIP, "entry": 4752, "revision": 3, "cancelled": True},
        ),
        EventType(
            "trip.covered",
            Subject.TRIP,
            facts.TripCoverage,
            "A trip has all the kits that it needs: ready for it, or out on it.",
            _COVERED,
        ),
        EventType(
            "trip.waiting",
            Subject.TRIP,
            facts.TripCoverage,
            "A trip would be covered, but a kit of it is still out on something else; it is due "
            "in time.",
            {**_COVERED, "coverage": "waiting"},
        ),
        EventType(
            "trip.uncovered",
            Subject.TRIP,
            facts.TripCoverage,
            "A trip that was covered, or waiting, is so no longer.",
            {**_COVERED, "coverage": "uncovered", "before": "covered", "kits": []},
        ),
        EventType(
            "reservation.made",
            Subject.TRIP,
            facts.Reserved,
            "A kit is reserved for a trip.",
            _RESERVED,
        ),
        EventType(
            "reservation.released",
            Subject.TRIP,
            facts.Reserved,
            "A kit is no longer reserved for a trip.",
            {**_RESERVED, "entry": 4761},
        ),
        EventType(
            "lot.recalled",
            Subject.RECALL,
            facts.Recalled,
            "A maker recalls batches of an item; also once a closed recall is open again, or more "
            "batches turn out to be of it.",
            {"entry": 4770, "recall": 5, "item": 3, "lots": [31, 32], "open": True},
        ),
        EventType(
            "recall.closed",
            Subject.RECALL,
            facts.RecallClosed,
            "A recall ended.",
            {"entry": 4771, "recall": 5, "item": 3, "outcome": "finished"},
        ),
        EventType(
            "stock.low",
            Subject.STOCK,
            facts.Stock,
            "A gear room's shelves have an item down to its order level.",
            _STOCK,
        ),
        EventType(
            "stock.enough",
            Subject.STOCK,
            facts.Stock,
            "An item that was low is so no longer.",
            {**_STOCK, "stock": 40},
        ),
        EventType(
            "act.undone",
            Subject.ENTRY,
            facts.Undone,
            "An act was taken back as a mistake. What is otherwise without it has events of its "
            "own. Its subject is the kit, else the trip, else the entry of the act.",
            {"entry": 4780, "undone": 4711, "kind": "check-out", "kit": 12, "trip": 42},
        ),
    )
}


def event_type(data: Any, name: str) -> EventType:
    """The type of this name. Raises ValueError where it does not say what `data` does."""
    row = EVENT_TYPES[name]
    if not isinstance(data, row.data):
        raise ValueError(f"{name} says {row.data.__name__}, not {type(data).__name__}")
    return row
