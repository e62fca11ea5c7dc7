"""Throwing out: into the bin, the sharps tub, clinical waste, to a pharmacy, back to the maker."""

from __future__ import annotations

from gearroom.core.act import Act
from gearroom.core.problems import Invalid, Refused
from kits.models import Disposal, Entry, EntryKind, Item, Lot, Place, PlaceKind
from kits.rules import disposal as ways
from kits.rules.expiry import why_not
from kits.rules.facts import Kind
from kits.services import fitness, stock
from kits.services.amounts import units as whole
from kits.services.ledger import Book, Leg, outer


def disposal_of(item: Item) -> Disposal:
    """How a thing is thrown out unless somebody says otherwise."""
    return Disposal(ways.allowed(Kind(item.kind), item.disposal)[0])


def check_disposal(item: Item, disposal: Disposal) -> None:
    """Raise Refused (`wrong-bin`) where a thing may not be thrown out that way."""
    allowed = ways.allowed(Kind(item.kind), item.disposal)
    if disposal not in allowed:
        right = " or ".join(Disposal(way).label for way in allowed)
        raise Refused(
            "wrong-bin",
            f"{item.name} does not go to “{Disposal(disposal).label}”. It goes to: {right}.",
            allowed=list(allowed),
        )


def dispose(
    act: Act, *, place: Place, lot: Lot, units: int, disposal: Disposal | None = None
) -> Entry:
    """Throw units out of a place, the thing's own way unless another is given.

    Units that are still good need the act's reason. Raises Refused: `wrong-bin`, `not-enough`;
    Invalid (`reason`).
    """
    with Book(act) as book:
        kit = stock.lock_kit_of(book, place)
        room = stock.room_of(place, kit)
        act.actor.require("dispose", room.pk)
        count = whole(units)
        way = disposal or disposal_of(lot.item)
        check_disposal(lot.item, way)
        fault = why_not(fitness.batches([lot])[lot.pk], stock.today_in(room))
        if fault is None and not act.reason:
            raise Invalid("These are still good: say why they are thrown out.", field="reason")
        return book.post(
            EntryKind.DISPOSE,
            [Leg(lot, place, outer(PlaceKind(way)), count)],
            kit=kit,
            lot=lot,
            room=room,
            reason=act.reason or str(fault),
        )
