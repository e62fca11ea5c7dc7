"""What is on order for rooms: how much, from whom, and by when it is expected."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core import clock
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Item, OrderLine
from kits.rules.buying import orders as rules

Coming = dict[tuple[int, int], int]
"""Units on order, by room and item (ids)."""


@dataclass(frozen=True)
class OpenLine:
    """Units of an item still to come for a room. `missing`: so long overdue that they are not
    counted on; `late`: expected before today."""

    line: OrderLine
    units: int
    late: bool
    missing: bool

    @property
    def item(self) -> Item:
        """What is to come."""
        return self.line.item

    @property
    def room(self) -> Room:
        """For which room."""
        return self.line.order.room

    @property
    def supplier(self) -> str:
        """From whom."""
        return self.line.order.supplier.name

    @property
    def ordered_on(self) -> date:
        """When it was ordered."""
        return self.line.order.ordered_on or date.min

    @property
    def expected_on(self) -> date:
        """When it is expected."""
        return self.line.order.expected_on or date.min


def open_lines(rooms: Iterable[Room], *, item: Item | None = None) -> list[OpenLine]:
    """All that is still to come for rooms, the oldest order first; of one item, where given."""
    today = {room.pk: clock.today(room.time_zone) for room in rooms}
    rows = OrderLine.objects.open().filter(order__room__in=today)
    if item is not None:
        rows = rows.filter(item=item)
    found = []
    for line in rows.select_related("item", "order__supplier", "order__room"):
        now, expected = today[line.order.room_id], line.order.expected_on
        late = expected is not None and expected < now
        missing = expected is not None and rules.is_missing(expected, now)
        found.append(OpenLine(line, progress(line).open, late, missing))
    return found


def progress(line: OrderLine) -> rules.Progress:
    """What became of a line that was loaded `with_progress`."""
    return rules.Progress(line.units, line.arrived, line.cancelled)  # type: ignore[attr-defined]  # annotated


def coming(lines: Iterable[OpenLine], *, by: date | None = None) -> Coming:
    """Units that may be counted on, by room and item; those expected by a day, where given."""
    return summed(
        ((row.line.order.room_id, row.item.pk), row.units)
        for row in lines
        if not row.missing and (by is None or row.expected_on <= by)
    )


def by_item(lines: Iterable[OpenLine]) -> dict[tuple[int, int], Sequence[OpenLine]]:
    """Lines by room and item (ids)."""
    return dict(grouped(((row.line.order.room_id, row.item.pk), row) for row in lines))
