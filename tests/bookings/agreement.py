"""Whether both books agree, compared row by row."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from tests.bookings.book import Book
from tests.bookings.calls import Gearroom
from tests.bookings.office import SOURCE
from tests.bookings.picture import KIT, of_events

ALIKE = ("name", "room", "people", "children", "latex_free", "leader_name", "leader_phone", "state")


@dataclass(frozen=True)
class Records:
    """What the gear room says of all trips, reservations and kits: rows of its lists."""

    trips: list[Any]
    reservations: list[Any]
    kits: list[Any]


def records(gearroom: Gearroom) -> Records:
    """What it says now."""
    return Records(
        trips=list(gearroom.rows(f"trips/?source={SOURCE}")),
        reservations=[
            row
            for released in ("false", "true")
            for row in gearroom.rows(f"reservations/?released={released}")
        ],
        kits=list(gearroom.rows("kits/")),
    )


def differences(here: dict[Any, Any], there: dict[Any, Any]) -> dict[Any, Any]:
    """What is not the same in both: what it is here, and there."""
    return {
        each: (here.get(each), there.get(each))
        for each in here.keys() | there.keys()
        if here.get(each) != there.get(each)
    }


def _trip(row: dict[str, Any], revision: int) -> dict[str, Any]:
    hours = row["hours_to_care"]
    return _times(
        {
            **{name: row[name] for name in (*ALIKE, "departs_at", "returns_at")},
            "hazards": sorted(row["hazards"]),
            "hours_to_care": hours and Decimal(hours),
            "revision": revision,
        }
    )


def _times(row: dict[str, Any]) -> dict[str, Any]:
    return {
        name: datetime.fromisoformat(value) if name.endswith("_at") and value else value
        for name, value in row.items()
    }


def trips(book: Book, there: Records) -> dict[Any, Any]:
    """Trips that are not the same in both books."""
    return differences(
        {
            reference: _trip(json.loads(wanted), revision)
            for reference, wanted, revision in book.rows(
                "select reference, wanted, revision from trip"
            )
        },
        {row["reference"]: _trip(row, row["revision"]) for row in there.trips},
    )


def reservations(book: Book, there: Records) -> dict[Any, Any]:
    """Reservations, standing and released, that are not the same in both books."""
    return differences(
        {
            number: (kit, trip, bool(stands))
            for number, kit, trip, stands in book.rows(
                "select number, kit, trip, stands from reservation"
            )
        },
        {
            row["id"]: (row["kit"], row["trip"]["reference"], row["released_at"] is None)
            for row in there.reservations
        },
    )


def events(book: Book, there: Records) -> dict[Any, Any]:
    """Trips, reserved kits and kits that are out, of which the events that came say otherwise."""
    picture = of_events(book)
    kits = {row["name"]: row["id"] for row in there.kits}
    return {
        **differences(
            {number: _times(trip) for number, trip in picture.trips.items()},
            {
                row["id"]: _times(
                    {
                        **{name: row[name] for name in ("revision", "first_day", "last_day")},
                        **{name: row[name] for name in ("departs_at", "returns_at")},
                        "cancelled": row["state"] == "cancelled",
                    }
                )
                for row in there.trips
            },
        ),
        **differences(
            dict.fromkeys(picture.reserved, True),
            {
                (kits[row["kit"]], row["trip"]["id"]): True
                for row in there.reservations
                if row["released_at"] is None
            },
        ),
        **differences(
            {f"kit {number}": _times(kit) for number, kit in picture.kits.items()},
            {
                f"kit {row['id']}": _held(row["out"])
                for row in there.kits
                if row["id"] in picture.kits or row["out"]
            },
        ),
    }


def announced(book: Book, there: Records) -> dict[Any, Any]:
    """Trips and kits of which the last that was announced is not what the program says. Of a trip
    of which nothing was, that is uncovered."""
    picture = of_events(book)
    trips = {row["id"]: row["coverage"] for row in there.trips if row["coverage"]}
    kits = {f"kit {row['id']}": row["verdict"] for row in there.kits}
    return {
        **differences(
            {number: picture.coverage.get(number, "uncovered") for number in trips}, trips
        ),
        **differences(
            {f"kit {number}": word for number, word in picture.words.items()},
            {kit: word for kit, word in kits.items() if int(kit[4:]) in picture.words},
        ),
    }


def polled(book: Book, _there: Records) -> dict[Any, Any]:
    """Subjects of which not the same events came by webhook, in the same order, as were polled
    since there is a webhook."""
    came = book.rows("select content from event order by number")
    return differences(grouped(json.loads(row[0]) for row in came), grouped(book.due()))


def grouped(events: Iterable[Any]) -> dict[str, list[Any]]:
    """Events by subject, in order."""
    subjects: dict[str, list[Any]] = {}
    for event in events:
        subjects.setdefault(event["subject"], []).append(event)
    return subjects


def _held(out: dict[str, Any] | None) -> dict[str, Any]:
    if out is None:
        return {**dict.fromkeys(KIT), "out": False}
    return _times(
        {
            "out": True,
            "holder": out["person"]["id"],
            "trip": out["trip"] and out["trip"]["id"],
            "due_at": out["due_at"],
        }
    )
