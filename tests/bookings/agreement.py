"""Whether both books agree, compared row by row."""

import json
from datetime import datetime
from decimal import Decimal
from typing import Any

from tests.bookings.book import Book
from tests.bookings.calls import Gearroom
from tests.bookings.office import SOURCE

ALIKE = (
    "name", "room", "people", "children", "latex_free", "leader_name", "leader_phone", "cancelled"
)  # fmt: skip


def _trip(row: dict[str, Any], revision: int) -> dict[str, Any]:
    hours = row["hours_to_care"]
    return {
        **{name: row[name] for name in ALIKE},
        "departs_at": datetime.fromisoformat(row["departs_at"]),
        "returns_at": datetime.fromisoformat(row["returns_at"]),
        "hazards": sorted(row["hazards"]),
        "hours_to_care": hours and Decimal(hours),
        "revision": revision,
    }


def differences(here: dict[Any, Any], there: dict[Any, Any]) -> dict[Any, Any]:
    """What is not the same in both: what it is here, and there."""
    return {
        each: (here.get(each), there.get(each))
        for each in here.keys() | there.keys()
        if here.get(each) != there.get(each)
    }


def trips(book: Book, gearroom: Gearroom) -> dict[str, Any]:
    """Trips that are not the same in both books."""
    return differences(
        {
            reference: _trip(json.loads(wanted), revision)
            for reference, wanted, revision in book.rows(
                "select reference, wanted, revision from trip"
            )
        },
        {
            row["reference"]: _trip(
                {**row, "cancelled": bool(row["cancelled_at"])}, row["revision"]
            )
            for row in gearroom.rows(f"trips/?source={SOURCE}")
        },
    )


def reservations(book: Book, gearroom: Gearroom) -> dict[int, Any]:
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
            for released in ("false", "true")
            for row in gearroom.rows(f"reservations/?released={released}")
        },
    )
