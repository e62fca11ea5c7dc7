"""A kit that takes items from another, on a trip or at the hatch."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from gearroom.core.rules.grouping import summed
from kits.models import Entry, EntryKind, Holding, Kit, Lot, Place, PlaceKind, WithheldKind
from kits.rules.ledger.reasons import ReasonCode
from kits.services.ledger import Book, Leg, admission, outer
from kits.services.notices import writing
from kits.services.restocking.sorting import refuse_if_kept_as_it_came
from kits.services.text.amounts import units


@dataclass(frozen=True)
class BorrowLine:
    """So many units of a batch from a section of one kit into a section of another."""

    lot: Lot
    source: Place
    target: Place
    units: int


def borrow(
    act: Act, giver: Kit, taker: Kit, lines: Sequence[BorrowLine], *, already_done: bool = False
) -> Entry:
    """Move items from one kit to another; both are judged again. §4.5 holds for the taker.

    `already_done` is a report of what happened and always recorded: marked irregular where it
    broke a rule, and what the giver did not hold on record comes in through *unexplained*.
    """
    if giver.pk == taker.pk:
        raise Invalid(_("A kit cannot borrow from itself. Choose another kit."), field="from")
    with Book(act) as book:
        giver, taker = book.lock(giver.pk, taker.pk)
        act.actor.require("borrow", taker.room_id)
        if any((x.source.kit_id, x.target.kit_id) != (giver.pk, taker.pk) for x in lines):
            raise Invalid(
                _(
                    "Enter the sections of %(giver)s to take from, and the sections of "
                    "%(taker)s to put the items into."
                )
                % {"giver": giver.name, "taker": taker.name},
                field="lines",
            )
        moved = [(line, units(line.units, field="lines")) for line in lines]
        extra: list[Leg] = []
        irregular: list[ReasonCode] = []
        if already_done:
            extra = _beyond_record(moved)
            irregular = _irregular(giver, taker, lines, extra)
        else:
            refuse_if_kept_as_it_came(giver)
            refuse_if_kept_as_it_came(taker)
            admission.put_in_guard(taker, [(line.lot, line.source) for line in lines])
        entry = book.post(
            EntryKind.BORROW,
            [*extra, *(Leg(line.lot, line.source, line.target, count) for line, count in moved)],
            kit=taker,
            irregular=irregular,
            detail={"from": giver.pk},
        )
        if irregular:
            writing.notify_keepers(entry, "irregular", kit=taker)
    return entry


def _beyond_record(moved: Sequence[tuple[BorrowLine, int]]) -> list[Leg]:
    """What the giver held beyond its record, as legs into it."""
    lines = {(line.lot.pk, line.source.pk): line for line, _ in moved}
    wanted = summed(((line.lot.pk, line.source.pk), count) for line, count in moved)
    held = {
        (row.lot_id, row.place_id): row.units
        for row in Holding.objects.filter(
            lot__in={lot for lot, _ in wanted}, place__in={place for _, place in wanted}
        )
    }
    unexplained = outer(PlaceKind.UNEXPLAINED)
    return [
        Leg(lines[where].lot, unexplained, lines[where].source, count - held.get(where, 0))
        for where, count in wanted.items()
        if count > held.get(where, 0)
    ]


def _irregular(
    giver: Kit, taker: Kit, lines: Sequence[BorrowLine], extra: Sequence[Leg]
) -> list[ReasonCode]:
    """The rules that a loan broke that was reported afterwards."""
    broken = [
        ReasonCode(fault["code"])
        for fault in admission.faults(taker, [(line.lot, line.source) for line in lines])
    ]
    kind = WithheldKind.KEEP_AS_IT_CAME_BACK
    if any(kit.withholdings.open().filter(kind=kind) for kit in (giver, taker)):
        broken.append(ReasonCode.KEPT_AS_IT_CAME)
    if extra:
        broken.append(ReasonCode.BORROWED_MORE)
    return broken
