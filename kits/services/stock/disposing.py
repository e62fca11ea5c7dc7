"""Throwing out: into the bin, the sharps tub, clinical waste, to a pharmacy, back to the maker."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused
from gearroom.core.models import Room
from kits.models import Disposal, Entry, EntryKind, Holding, Item, Lot, Place, PlaceKind
from kits.rules.ledger import OUT_OF_DATE, Kind, good_through, why_not
from kits.rules.stock.disposal import allowed
from kits.services.ledger import Book, Leg, outer, readiness, room_place
from kits.services.stock import moving, receiving
from kits.services.text import wording
from kits.services.text.amounts import units as whole


def disposal_of(item: Item) -> Disposal:
    """How an item is disposed of unless another way is given."""
    return Disposal(allowed(Kind(item.kind), item.disposal)[0])


def check_disposal(item: Item, disposal: Disposal) -> None:
    """Raise Refused (`wrong-bin`) where an item may not be disposed of that way."""
    permitted = allowed(Kind(item.kind), item.disposal)
    if disposal not in permitted:
        raise Refused(
            "wrong-bin",
            _(
                "“%(label)s” is not the right way to dispose of %(item)s. The right way is: "
                "%(right)s."
            )
            % {
                "item": item.name,
                "label": wording.disposal(disposal),
                "right": _(" or ").join(map(wording.disposal, permitted)),
            },
            allowed=list(permitted),
        )


@dataclass(frozen=True)
class Outgoing(moving.Portion):
    """Units of a batch to dispose of from a place; the item's own way unless another is given.
    `good_until`, where it is listed as out of date: its last good day."""

    disposal: Disposal | None = None
    good_until: date | None = None

    @property
    def for_class(self) -> bool:
        """Whether a class can use it."""
        return self.lot.item.for_class


def dispose(
    act: Act, *, place: Place, lot: Lot, units: int, disposal: Disposal | None = None
) -> Entry:
    """Dispose of units from a place, the item's own way unless another is given.

    Units that are still good need the act's reason. Raises Refused: `wrong-bin`, `not-enough`;
    Invalid (`reason`).
    """
    with Book(act) as book:
        kit, room = moving.lock_place(book, place, "dispose")
        leg, why = _thrown(act, Outgoing(place, lot, units, disposal), room)
        return book.post(EntryKind.DISPOSE, [leg], kit=kit, lot=lot, room=room, reason=why)


def dispose_all(act: Act, room: Room, rows: Sequence[Outgoing]) -> Entry:
    """Dispose of units in a room outside of its kits, all in one act, each item its way.

    Raises as `dispose`, and Invalid (`rows`) for no rows or a place of another room or a kit.
    """
    with Book(act) as book:
        act.actor.require("dispose", room.pk)
        if not rows:
            raise Invalid(_("Choose what to dispose of."), field="rows")
        moving.refuse_elsewhere(room, rows)
        thrown = [_thrown(act, row, room) for row in rows]
        why = ", ".join(sorted({why for _leg, why in thrown}))
        return book.post(
            EntryKind.DISPOSE, [leg for leg, _why in thrown], room=room, reason=act.reason or why
        )


def _thrown(act: Act, row: Outgoing, room: Room) -> tuple[Leg, str]:
    count = whole(row.units)
    way = row.disposal or disposal_of(row.lot.item)
    check_disposal(row.lot.item, way)
    fault = why_not(readiness.batches([row.lot])[row.lot.pk], receiving.today_in(room))
    if fault is None and not act.reason:
        raise Invalid(
            _("These units are still good: enter the reason for disposing of them."), field="reason"
        )
    return Leg(row.lot, row.place, outer(PlaceKind(way)), count), act.reason or str(fault)


def to_training(act: Act, room: Room, rows: Sequence[Outgoing]) -> Entry:
    """Put units of a room outside of its kits into its training box, all in one act.

    Raises as `moving.move_all` (`not-for-class`, `recalled` and the like)."""
    act.actor.require("move", room.pk)
    return moving.move_all(act, room, rows, room_place(room, PlaceKind.TRAINING))


def out_of_date(room: Room) -> list[Outgoing]:
    """What is out of date on a room's shelves and in its quarantine, with where it goes."""
    rows = list(
        Holding.objects.on_hand()
        .filter(place__room=room, place__kind__in=[PlaceKind.SHELF, PlaceKind.QUARANTINE])
        .select_related("lot__item", "place")
        .order_by("place__position", "place", "lot__item__name", "lot")
    )
    batches = readiness.batches({row.lot_id: row.lot for row in rows}.values())
    today = receiving.today_in(room)
    return [
        Outgoing(
            row.place,
            row.lot,
            row.units,
            disposal_of(row.lot.item),
            good_through(batches[row.lot_id]),
        )
        for row in rows
        if why_not(batches[row.lot_id], today) in OUT_OF_DATE
    ]
