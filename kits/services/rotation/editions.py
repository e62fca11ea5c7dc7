"""Old editions of documents in kits, and where the current one lies to replace them. A document's
edition is the number of its batch, what it is valid until the batch's date."""

from collections.abc import Iterable
from dataclasses import dataclass

from gearroom.core.rules.grouping import grouped
from kits.models import Holding, Kit, Lot, Place, PlaceKind
from kits.rules.ledger.facts import Kind
from kits.rules.stock.editions import Edition, current


@dataclass(frozen=True)
class OldEdition:
    """Units of an old edition in a section of a kit, and the current edition; `shelf` is one of the
    room the kit is in that has it, `units` how many of them can be swapped from there."""

    kit: Kit
    section: Place
    lot: Lot
    current: Lot
    units: int
    shelf: Place | None


def old_in(kits: Iterable[Kit], item: int | None = None) -> list[OldEdition]:
    """The old editions in these kits (with the rooms they are in), of one item (its id) or of all
    documents. The number of queries does not grow with the kits."""
    by_id = {kit.pk: kit for kit in kits}
    held = Holding.objects.on_hand().filter(lot__item__kind=Kind.DOCUMENT)
    inside = held.filter(place__kit__in=by_id)
    if item is not None:
        inside = inside.filter(lot__item=item)
    rows = list(
        inside.select_related("lot__item", "place").order_by("place__kit__name", "place", "lot")
    )
    if not rows:
        return []
    known = list(
        held.filter(
            lot__item__in={row.lot.item_id for row in rows},
            lot__recall=None,
            place__kind__in=[PlaceKind.SHELF, PlaceKind.SECTION],
        )
        .select_related("lot__item", "place__location")
        .order_by("place__position", "place")
    )
    lots = {row.lot_id: row.lot for row in known}
    editions = grouped(
        (lot.item_id, Edition(lot.pk, lot.expiry, bool(lot.number))) for lot in lots.values()
    )
    newest = {of: each.batch for of, them in editions.items() if (each := current(them))}
    on_shelves = grouped(
        ((row.lot_id, row.place.room_id), row)
        for row in known
        if row.place.kind == PlaceKind.SHELF and row.place.closed_on is None
    )
    old = []
    for row in rows:
        now = lots.get(newest.get(row.lot.item_id, row.lot_id), row.lot)
        if now.pk == row.lot_id or row.place.kit_id is None:
            continue
        kit = by_id[row.place.kit_id]
        there = next(iter(on_shelves[now.pk, kit.room_id]), None)
        units = min(row.units, there.units) if there else row.units
        old.append(OldEdition(kit, row.place, row.lot, now, units, there.place if there else None))
    return old
