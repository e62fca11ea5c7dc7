"""Opening a pack whose life is shorter once opened: from then on it is a batch of its own."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Refused
from kits.models import Entry, EntryKind, Lot, Place, PlaceKind
from kits.services.ledger import lots
from kits.services.ledger.book import Book, Leg, outer
from kits.services.stock import receiving
from kits.services.text.amounts import units as whole


@dataclass(frozen=True)
class OpenedPack:
    """The batch that opened units became, good for the shorter of its two dates."""

    entry: Entry
    lot: Lot


def open_pack(act: Act, *, place: Place, lot: Lot, units: int) -> OpenedPack:
    """Record that units of an item with a shorter life once opened were opened.

    Raises Refused: `no-opened-life`, `opened-already`, `not-enough`.
    """
    if lot.item.opened_life_days is None:
        raise Refused(
            "no-opened-life",
            _(
                "The expiry date of %(item)s does not change once it is opened. There is nothing "
                "to record."
            )
            % {"item": lot.item.name},
        )
    if lot.opened_on is not None:
        raise Refused(
            "opened-already",
            _("Already recorded as opened on %(opened_on)s.") % {"opened_on": lot.opened_on},
            lot=lot.pk,
        )
    with Book(act) as book:
        kit, room = receiving.lock_place(book, place, "open")
        count = whole(units)
        when = min(act.claimed_at or act.received_at, act.received_at)
        opened = lots.known(
            item=lot.item,
            number=lot.number,
            expiry=lot.expiry,
            opened_on=clock.local_date(when, room.time_zone),
        )
        between = outer(PlaceKind.RECLASSIFIED)
        entry = book.post(
            EntryKind.OPEN,
            [Leg(lot, place, between, count), Leg(opened, between, place, count)],
            kit=kit,
            lot=opened,
            room=room,
        )
    return OpenedPack(entry, opened)
