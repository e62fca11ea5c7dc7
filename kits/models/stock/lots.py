"""Batches of things: identity, the facts once believed of them, and how they arrived."""

from datetime import date

from django.db import models
from django.db.models import F, Q, Value
from django.db.models.functions import Coalesce

from gearroom.core.models import Person
from gearroom.core.models.append_only import InOrder, append_only
from gearroom.core.rules.names import LONGER
from gearroom.core.services.people.names import WordsField
from kits.models.ledger import Entry
from kits.models.stock.catalogue import Item

_NO_DATE = Value(date(1, 1, 1), output_field=models.DateField())


class Lot(models.Model):
    """Item, maker's lot number and expiry as now believed; the same lot in every room.

    `expiry` is the last good day. None means that it needs no date or, where its item needs one,
    that the date is not known. An opened pack with a shortened life is a lot of its own
    (`opened_on`). An instrument's lot is one unit with a `serial`.
    """

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lots")
    number = models.CharField(max_length=40, blank=True)
    serial = models.CharField(max_length=40, blank=True)
    expiry = models.DateField(null=True, blank=True)
    opened_on = models.DateField(null=True, blank=True)
    recall = models.ForeignKey(
        "kits.Recall", null=True, blank=True, on_delete=models.PROTECT, related_name="lots"
    )
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["item_id", "expiry", "number", "id"]
        constraints = [
            # No date is a value of its own here: two lots without one are the same lot.
            models.UniqueConstraint(
                F("item"),
                F("number"),
                F("serial"),
                Coalesce(F("expiry"), _NO_DATE),
                Coalesce(F("opened_on"), _NO_DATE),
                name="lot_identity_once",
            ),
            models.UniqueConstraint(
                fields=["item", "serial"], condition=~Q(serial=""), name="serial_once_an_item"
            ),
        ]
        indexes = [models.Index(fields=["expiry"]), models.Index(fields=["number"])]

    def __str__(self) -> str:
        return f"{self.item} {self.number or self.serial or '(no number)'}"


@append_only
class LotFact(InOrder):
    """What was believed of a lot from an entry on; the latest is on the lot itself."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="facts")
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="lot_facts")
    number = models.CharField(max_length=40, blank=True)
    expiry = models.DateField(null=True, blank=True)


@append_only
class Receipt(InOrder):
    """One arrival of a lot: from whom, at what price for all of it, and when it was ordered."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="receipts")
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="receipts")
    units = models.PositiveIntegerField()
    supplier = WordsField(max_length=LONGER * 120, blank=True)
    price = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    ordered_on = models.DateField(null=True, blank=True)

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(condition=Q(units__gte=1), name="receipt_of_a_unit"),
            models.CheckConstraint(
                condition=Q(price__isnull=True, currency="")
                | (Q(price__gte=0) & Q(currency__regex=r"^[A-Z]{3}$")),
                name="receipt_price_with_currency",
            ),
        ]


@append_only
class InstrumentCheck(InOrder):
    """A regular check of an instrument, with the answer to its question."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="checks")
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="checks")
    checked_on = models.DateField()
    passed = models.BooleanField()
    due_on = models.DateField(null=True, blank=True)
    answer = WordsField(max_length=LONGER * 200, blank=True)
    checked_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
