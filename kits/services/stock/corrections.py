"""Corrections of a batch's facts: its number or date was typed wrong, or read off the pack later.

The new fact is written beside the old one, and every kit that holds the batch is judged again.
Where the corrected identity is a batch of its own already, all units are booked over to it; what
is then written of the old one keeps what is known now of its past true.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import NOT_GIVEN, Act, Invalid, NotGiven, Refused, store
from kits.models import (
    Entry,
    EntryKind,
    Holding,
    Label,
    Lot,
    LotFact,
    PlaceKind,
    Withholding,
)
from kits.services.ledger import Book, Leg, lots, outer
from kits.services.ledger.kit_state import iso
from kits.services.recalls import tracing
from kits.services.stock.receiving import check_expiry


@dataclass(frozen=True)
class Correction:
    """The entry, the batch that the units are of now, and whether they were booked over to it."""

    entry: Entry
    lot: Lot
    booked_over: bool


def correct(
    act: Act,
    lot: Lot,
    *,
    number: str | None = None,
    expiry: date | NotGiven | None = NOT_GIVEN,
) -> Correction:
    """Correct a batch: its number, its expiry (None: not known), or both.

    Opened packs of the same batch are corrected with it. The act's reason is needed. Raises
    Invalid, Refused (`nothing-to-correct`).
    """
    act.actor.require("correct_lot")
    if not act.reason:
        raise Invalid(
            _("Enter how you know this: what is printed on the pack, and who looked at it."),
            field="reason",
        )
    check_expiry(None if expiry is NOT_GIVEN else expiry, clock.today("UTC"))
    with Book(act) as book:
        new_number = None if number is None else lots.normal(number)
        rows = _held(book, lot, new_number)
        lot = rows[lot.pk]
        new_number = lot.number if new_number is None else new_number
        new_expiry = lot.expiry if isinstance(expiry, NotGiven) else expiry
        if (new_number, new_expiry) == (lot.number, lot.expiry):
            raise Refused("nothing-to-correct", _("This is already on record."), lot=lot.pk)
        targets = {row.pk: _other(row, new_number, new_expiry) for row in rows.values()}
        entry = book.post(
            EntryKind.CORRECT_LOT,
            [leg for row in rows.values() if (to := targets[row.pk]) for leg in _over(row, to)],
            lot=lot,
            detail={
                "was": {"number": lot.number, "expiry": iso(lot.expiry)},
                "is": {"number": new_number, "expiry": iso(new_expiry)},
                "booked_over": {str(pk): to.pk for pk, to in targets.items() if to},
            },
        )
        for row in rows.values():
            LotFact.objects.create(lot=row, entry=entry, number=new_number, expiry=new_expiry)
            _settle(entry, row, targets[row.pk], new_number, new_expiry)
        recall = lots.recall_of(lot.item, new_number)
        changed = [targets[row.pk] or row for row in rows.values()]
        # What lies outside of kits and turns out to be recalled goes to quarantine with the rest.
        if recall and Holding.objects.on_hand().filter(lot__in=changed).exists():
            tracing.spread(book, recall)
    return Correction(entry, targets[lot.pk] or lot, targets[lot.pk] is not None)


def _held(book: Book, lot: Lot, new_number: str | None) -> dict[int, Lot]:
    """The batches that are corrected together, by id; nothing of their item moves until the act
    ends. Where an open recall is about the new number, its kits are locked as well."""

    def same() -> QuerySet[Lot]:
        now = Lot.objects.get(pk=lot.pk)
        return Lot.objects.filter(
            item=now.item_id, number=now.number, expiry=now.expiry, serial=now.serial
        )

    def kits() -> set[int]:
        holding = (
            Holding.objects.on_hand()
            .filter(lot__in=same(), place__kind=PlaceKind.SECTION)
            .values_list("place__kit", flat=True)
        )
        recalled = new_number is not None and lots.recall_of(lot.item, new_number) is not None
        return {*holding, *(tracing.kits_that_ever_held(lot.item_id) if recalled else ())}

    def batches() -> QuerySet[Lot, int]:
        return Lot.objects.filter(item=lot.item_id).values_list("pk", flat=True)

    held = book.hold(kits, batches)
    return {pk: held[pk] for pk in same().values_list("pk", flat=True)}


def _other(lot: Lot, number: str, expiry: date | None) -> Lot | None:
    """Another batch that has the corrected identity already."""
    return (
        Lot.objects.select_related("item")
        .filter(
            item=lot.item_id,
            number=number,
            expiry=expiry,
            serial=lot.serial,
            opened_on=lot.opened_on,
        )
        .exclude(pk=lot.pk)
        .first()
    )


def _over(lot: Lot, to: Lot) -> Iterable[Leg]:
    between = outer(PlaceKind.RECLASSIFIED)
    for held in Holding.objects.on_hand().filter(lot=lot).select_related("place"):
        yield Leg(lot, held.place, between, held.units)
        yield Leg(to, between, held.place, held.units)


def _settle(entry: Entry, lot: Lot, to: Lot | None, number: str, expiry: date | None) -> None:
    """Rewrite the batch, or hand over what hangs on it to the one its units are of now."""
    if to is None:
        store(lot, number=number, expiry=expiry, recall=lots.recall_of(lot.item, number))
        return
    Label.objects.filter(lot=lot).update(lot=to)
    for withholding in Withholding.objects.open().filter(lot=lot):
        Withholding.objects.get_or_create(
            lot=to,
            kind=withholding.kind,
            released=None,
            defaults={"note": withholding.note, "since": entry},
        )
        store(withholding, released=entry)
