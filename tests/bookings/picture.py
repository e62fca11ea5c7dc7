"""What the events say, one after the other: the last that is known of each trip, reservation and
kit."""

import json
from dataclasses import dataclass, field
from typing import Any

from tests.bookings.book import Book

TRIP = ("revision", "departs_at", "returns_at", "first_day", "last_day", "cancelled")
KIT = ("out", "holder", "trip", "due_at")


@dataclass
class Picture:
    """By numbers: trips, and whether they are covered; which kits are reserved for which trips; who
    has which kit, and the word on it."""

    trips: dict[int, Any] = field(default_factory=dict)
    reserved: set[tuple[int, int]] = field(default_factory=set)
    kits: dict[int, Any] = field(default_factory=dict)
    coverage: dict[int, str] = field(default_factory=dict)
    words: dict[int, str] = field(default_factory=dict)

    def add(self, event: Any) -> None:
        """What it is once this happened too."""
        data = event["data"]
        match event["type"]:
            case "trip.created" | "trip.updated" | "trip.cancelled":
                self.trips[data["trip"]] = {name: data[name] for name in TRIP}
            case "trip.covered" | "trip.waiting" | "trip.uncovered":
                self.coverage[data["trip"]] = data["coverage"]
            case "kit.readiness_changed":
                self.words[data["kit"]] = data["word"]
            case "reservation.made":
                self.reserved.add((data["kit"], data["trip"]))
            case "reservation.released":
                self.reserved.discard((data["kit"], data["trip"]))
            case (
                "kit.checked_out"
                | "kit.checked_in"
                | "kit.passed_on"
                | "kit.due_changed"
                | "kit.custody_corrected"
            ):
                self.kits[data["kit"]] = {name: data[name] if data["out"] else None for name in KIT}
                self.kits[data["kit"]]["out"] = data["out"]


def of_events(book: Book) -> Picture:
    """The picture of all events in the book."""
    picture = Picture()
    for (content,) in book.rows("select content from event order by number"):
        picture.add(json.loads(content))
    return picture
