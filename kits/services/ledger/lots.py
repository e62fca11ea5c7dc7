"""Batches: found or made by what identifies them.

A batch is its thing, the maker's lot number and the expiry, the same in every room; an opened
pack with a shortened life is a batch of its own, and an instrument's batch is one unit with its
serial number. Its first fact is written by the entry that first moves it (see `ledger`).
"""

import unicodedata
from collections.abc import Iterable
from datetime import date

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Invalid, Refused, refuse_first
from kits.models import Item, Lot, Recall, RecallScope
from kits.rules.ledger import Kind, PrintedDateError, last_good_day
from kits.services.text.wording import in_words

LONGEST = 40
"""The most characters of a maker's lot number or serial; GS1 allows 20 of each."""


def normal(number: str, *, field: str = "number") -> str:
    """A maker's lot or serial number as it is kept and compared.

    Compatibility forms made plain (NFKC), capitals, no space at the ends and one between words:
    what one person types and another scans is the same batch. Raises Invalid.
    """
    text = " ".join(unicodedata.normalize("NFKC", number).upper().split())
    refuse_first(
        (
            len(text) > LONGEST,
            Invalid(
                _(
                    "This has %(count)s characters; a maker’s number can have at most %(longest)s. "
                    "Enter only what comes after LOT or SN."
                )
                % {"count": len(text), "longest": LONGEST},
                field=field,
            ),
        ),
        (
            not text.isprintable(),
            Invalid(_("This contains characters that cannot be printed."), field=field),
        ),
    )
    return text


def printed_expiry(text: str, *, today: date, field: str = "expiry_printed") -> date | None:
    """The last good day of what is printed on a pack; None where nothing is. Raises Invalid, whose
    fact `readings` has the days that it could stand for."""
    if not text:
        return None
    try:
        return last_good_day(text, today=today)
    except PrintedDateError as error:
        raise Invalid(
            in_words(error.says), field=field, readings=[day.isoformat() for day in error.readings]
        ) from error


def known(
    *,
    item: Item,
    number: str = "",
    expiry: date | None = None,
    serial: str = "",
    opened_on: date | None = None,
) -> Lot:
    """The batch with this identity, made where it was not known yet.

    An instrument is known by its serial alone: the number and expiry given must be those on
    record, or left out. A new batch is marked recalled where a recall that is not withdrawn
    matches it. Call it in the transaction that moves it. Raises Invalid, Refused
    (`serial-known-otherwise`).
    """
    number, serial = normal(number), normal(serial, field="serial")
    _refuse_serial(item, serial)
    identity = (
        {"serial": serial}
        if serial
        else {"number": number, "expiry": expiry, "opened_on": opened_on}
    )
    there = Lot.objects.select_related("item").filter(item=item, **identity)
    if (lot := there.first()) is None:
        try:
            # A savepoint: where another act made the same batch meanwhile, this one goes on.
            with transaction.atomic():
                lot = Lot.objects.create(
                    item=item,
                    number=number,
                    expiry=expiry,
                    serial=serial,
                    opened_on=opened_on,
                    created_at=clock.now(),
                )
        except IntegrityError:
            lot = there.get()
        else:
            # Asked with the row there and the thing locked: a recall that starts at the same time
            # locks it too, so that one of the two sees the other.
            Item.objects.select_for_update(no_key=True).get(pk=item.pk)
            lot.recall = recall_of(item, number)
            if lot.recall is not None:
                lot.save(update_fields=["recall"])
    if serial and (number, expiry) not in ((lot.number, lot.expiry), ("", None)):
        raise Refused(
            "serial-known-otherwise",
            _(
                "%(item)s %(serial)s is on record with a different lot number or expiry date. "
                "Leave both empty, or correct the batch first."
            )
            % {"item": item.name, "serial": serial},
            lot=lot.pk,
            number=lot.number,
            expiry=lot.expiry.isoformat() if lot.expiry else None,
        )
    return lot


def _refuse_serial(item: Item, serial: str) -> None:
    enter = _(
        "%(item)s is an instrument: enter its serial number, because each one is recorded "
        "separately."
    )
    leave = _(
        "%(item)s is not an instrument, so it has no serial number. Leave the serial number empty."
    )
    if (item.kind == Kind.INSTRUMENT) != bool(serial):
        raise Invalid((leave if serial else enter) % {"item": item.name}, field="serial")


def held_still(lot_ids: Iterable[int]) -> list[Lot]:
    """The batches as they are now, with their items, ascending; until the transaction ends no
    recall or correction changes them, so that what is decided about them stays true."""
    return list(
        Lot.objects.select_for_update(of=("self",), no_key=True)
        .select_related("item")
        .filter(pk__in=set(lot_ids))
        .order_by("pk")
    )


def matching(recall: Recall) -> Q:
    """The batches that a recall is about, as a condition on Lot.

    While the maker names no number every batch of the thing is suspect; and a batch whose number
    nobody knows is suspect whatever number is named, until it is read off the pack.
    """
    about = Q(item=recall.item_id)
    by_number = recall.scope == RecallScope.NUMBER
    return about & Q(number__in=["", recall.number]) if by_number else about


def is_about(recall: Recall, number: str) -> bool:
    """Whether a recall may be about a batch of its thing with this number, or none known: see
    `matching`."""
    return recall.scope != RecallScope.NUMBER or number in ("", recall.number)


def recall_of(item: Item, number: str) -> Recall | None:
    """The recall that blocks a batch of a thing with this number, as `blocking` has it."""
    return blocking(Recall.objects.blocking().filter(item=item), number)


def blocking(recalls: Iterable[Recall], number: str) -> Recall | None:
    """Of a thing's recalls that are not withdrawn, the one that blocks a batch with this number: an
    open one before one that is finished; one that names the number, before one of every batch,
    before one that cannot be ruled out."""
    order = {RecallScope.NUMBER: 0, RecallScope.ALL: 1, RecallScope.NOT_KNOWN: 2}
    return min(
        (recall for recall in recalls if is_about(recall, number)),
        key=lambda r: (r.closed_id is not None, order[RecallScope(r.scope)], r.pk),
        default=None,
    )
