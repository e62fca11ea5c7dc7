"""The batches on a room's shelves and in its quarantine, as a table: narrowed, in order, and those
that were ticked in it."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.ordering import in_order
from kits.models import PlaceKind
from kits.services.stock import views
from kits.services.stock.moving import Portion
from kits.services.stock.views import HeldBatch

KINDS = (PlaceKind.SHELF, PlaceKind.QUARANTINE)


@dataclass(frozen=True)
class Filter:
    """Which batches a table shows; what is empty leaves nothing out. `before`: last good before
    that day; `faulty`: not usable today, whatever the reason."""

    search: str = ""
    before: date | None = None
    faulty: bool = False

    def fits(self, row: HeldBatch) -> bool:
        """Whether a row is one of those wanted."""
        names = f"{row.lot.item.name} {row.lot.number} {row.lot.serial}".casefold()
        return (
            self.search.casefold() in names
            and (self.before is None or (row.good_until or date.max) < self.before)
            and (row.fault is not None or not self.faulty)
        )


EVERYTHING = Filter()

ORDERS: dict[str, Callable[[HeldBatch], Any]] = {
    "name": lambda row: row.lot.item.name.casefold(),
    "batch": lambda row: row.lot.number or row.lot.serial or None,
    "expiry": lambda row: row.good_until,
    "units": lambda row: row.units,
    "place": lambda row: (row.place.kind != PlaceKind.SHELF, row.place.position, row.place.name),
}
"""What a table can be put in order by."""


def rows(
    actor: Actor, room: Room, wanted: Filter = EVERYTHING, by: str = "", *, down: bool = False
) -> list[HeldBatch]:
    """What the shelves and the quarantine of a room hold, by one of ORDERS, else soonest out of
    date first."""
    held = views.held_batches(actor, room=room, kinds=KINDS)
    fitting = [row for row in held if wanted.fits(row)]
    return in_order(fitting, ORDERS[by], down=down) if by in ORDERS else fitting


def chosen(actor: Actor, room: Room, ticked: Iterable[tuple[int, int]]) -> list[HeldBatch]:
    """Those of a room that were ticked, by the place and the batch (ids); what is not there any
    more is left out."""
    wanted = set(ticked)
    return [row for row in rows(actor, room) if (row.place.pk, row.lot.pk) in wanted]


def portions(of: Sequence[HeldBatch]) -> list[Portion]:
    """All units of rows."""
    return [Portion(row.place, row.lot, row.units) for row in of]
