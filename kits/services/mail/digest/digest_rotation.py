"""What the weekly email says of the batches to use first."""

from collections.abc import Iterator
from datetime import date, datetime
from functools import cached_property

from django.utils.translation import gettext as _, ngettext

from gearroom.core import clock
from gearroom.core.models import Room
from kits.rules.mail.plain_text import LetterRow
from kits.services.mail.digest.digest_week import Week
from kits.services.notices import page
from kits.services.planning.records.rates import Records, records
from kits.services.rotation import rotation
from kits.services.rotation.rotation import FillRow, KitWork, RoomRotation, SwapRow
from kits.services.stock.order_levels.stock_levels import Stockroom
from kits.services.text.days import day

MOST_KITS = 5
"""So many kits of a room stand in the email; the page has all."""


class DigestStock(Stockroom):
    """A stockroom that works out once for each room what to use first."""

    def __init__(self) -> None:
        super().__init__()
        self._rotations: dict[tuple[int, date], RoomRotation | None] = {}

    @cached_property
    def _records(self) -> Records:
        return records()

    def rotation(self, room: Room, at: datetime) -> RoomRotation | None:
        """What to use first there on the room's day of an instant; None where it was not worked
        out."""
        key = room.pk, clock.local_date(at, room.time_zone)
        if key not in self._rotations:
            held = [row for rows in self.units[room.pk].values() for row in rows]
            self._rotations[key] = rotation.for_email(room, at, self._records, (held, self.shelves))
        return self._rotations[key]


def rows(week: Week) -> Iterator[LetterRow]:
    """What to put into which kit and what to swap, room by room."""
    for each in week.rotations:
        address = page(f"/stock/rotation/?room={each.room.slug}")
        for work in each.work[:MOST_KITS]:
            lines = [_swap(row, week.today) for row in work.swaps]
            lines += [_fill(row, week.today) for row in work.fills]
            yield LetterRow(_kit(work), address, tuple(lines))
        if more := len(each.work[MOST_KITS:]):
            text = ngettext(
                "%(count)d more kit in %(room)s", "%(count)d more kits in %(room)s", more
            )
            yield LetterRow(text % {"count": more, "room": each.room.name}, address)


def _kit(work: KitWork) -> str:
    text = (
        _("%(kit)s: open the kit for this") if work.only_for_this else _("%(kit)s, when it is open")
    )
    return text % {"kit": work.kit.name}


def _swap(row: SwapRow, today: date) -> str:
    return _(
        "swap %(units)d × %(thing)s: remove those good until %(out)s, put in those good "
        "until %(into)s"
    ) % {
        "units": row.units,
        "thing": row.out.item.name,
        "out": day(row.out.expiry, today) if row.out.expiry else "",
        "into": day(row.into.expiry, today) if row.into.expiry else "",
    }


def _fill(row: FillRow, today: date) -> str:
    return _("put in %(units)d × %(thing)s from %(shelf)s, good until %(day)s") % {
        "units": row.units,
        "thing": row.lot.item.name,
        "shelf": row.shelf.where,
        "day": day(row.lot.expiry, today) if row.lot.expiry else "",
    }
