"""Swapping units of a kit for others of the same item while it is open."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from kits.models import Entry, EntryKind, Kit, Lot, Place, PlaceKind
from kits.rules.ledger.facts import Kind
from kits.services.ledger import Leg, admission, kit_book, room_place
from kits.services.restocking.sorting import refuse_if_kept_as_it_came, through_day


@dataclass(frozen=True)
class Swapped:
    """So many units (1 or more) of a batch out of a section onto a shelf, and as many of another
    batch of the item from that shelf into the section. What comes out of a document is an old
    edition: it goes to quarantine, so that nobody packs it again."""

    out: Lot
    into: Lot
    section: Place
    shelf: Place
    units: int


def swap(act: Act, kit: Kit, rows: Sequence[Swapped]) -> Entry:
    """Swap units in a kit. It is no check of the rest: a kit that waits to be sorted waits on,
    and a seal of a section that was opened is broken.

    Raises Invalid for no row, a shelf elsewhere or batches of different items; Refused for what may
    not go in (see `admission`) or is not there (`not-enough`).
    """
    if not rows:
        raise Invalid(_("Tick what you swapped."), field="rows")
    with kit_book(act, kit, here="restock") as (book, kit):
        refuse_if_kept_as_it_came(kit)
        for row in rows:
            admission.shelf_here(kit, row.shelf, "rows")
            if row.section.kit_id != kit.pk or row.units < 1:
                raise Invalid(_("Choose what is in this kit."), field="rows")
            if row.out.item_id != row.into.item_id:
                raise Invalid(
                    _(
                        "Only units of the same item can be swapped. To put in a different item, "
                        "restock the kit."
                    ),
                    field="rows",
                )
        admission.put_in_guard(kit, [(row.into, row.shelf) for row in rows])
        entry = book.post(
            EntryKind.RESTOCK,
            [
                *(Leg(row.out, row.section, _goes_to(kit, row), row.units) for row in rows),
                *(Leg(row.into, row.shelf, row.section, row.units) for row in rows),
            ],
            kit=kit,
            detail={"through": through_day(kit).isoformat(), "looked_inside": False},
        )
        book.break_seals(entry, list({row.section.pk: row.section for row in rows}.values()))
    return entry


def _goes_to(kit: Kit, row: Swapped) -> Place:
    if row.out.item.kind == Kind.DOCUMENT:
        return room_place(kit.room, PlaceKind.QUARANTINE)
    return row.shelf
