"""What is overwritten elsewhere, kept for ever: a row each time that it changed.

The columns of today (`Seal.broken`, `Checkout.person`, `Withholding.released`, …) follow from these
rows; `audit` compares them. A row is in force at an instant where its entry was recorded by then
and no entry recorded by then reverses it. `known` is False where a row was filled in from what was
left when the table was made, and what was so at the time is not known.
"""

from django.db import models
from django.db.models import Q

from gearroom.core.models import Person
from gearroom.core.models.append_only import InOrder, append_only
from kits.models.custody import AsFound, Checkout
from kits.models.kits import Kit, WithheldKind
from kits.models.ledger import Entry
from kits.models.lists import PackingListVersion
from kits.models.stock.catalogue import Item
from kits.models.stock.lots import Lot
from kits.models.stock.places import Place


class SealChange(models.TextChoices):
    """What became of a seal."""

    ON = "on"
    BROKEN = "broken"


@append_only
class SealFact(models.Model):
    """A seal put on a kit (or on one of its sections), or a section that was opened: that breaks
    the section's seal and the kit's, if there is one, and is written even where there is none."""

    kit = models.ForeignKey(Kit, on_delete=models.PROTECT, related_name="seal_facts")
    section = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="+")
    what = models.CharField(max_length=6, choices=SealChange)
    number = models.CharField(max_length=40, blank=True)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="seal_facts")
    known = models.BooleanField(default=True)

    class Meta:
        ordering = ["entry_id", "id"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(what="on") & ~Q(number="")) | Q(what="broken", number=""),
                name="seal_fact_number_of_what_is_on",
            ),
        ]


class CheckoutChange(models.TextChoices):
    """What became of a kit's time with a person. The last two are written by a reversing entry for
    whoever reads these rows alone: what is in force says the same."""

    OPENED = "opened"
    PASSED = "passed"
    CLOSED = "closed"
    REOPENED = "reopened"
    UNDONE = "undone"


@append_only
class CheckoutFact(models.Model):
    """Who had a kit (or a section of it) from when on, and that it came back. `checkout` is None
    where a kit was handed back that the book did not show out."""

    kit = models.ForeignKey(Kit, on_delete=models.PROTECT, related_name="checkout_facts")
    section = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="+")
    checkout = models.ForeignKey(
        Checkout, null=True, on_delete=models.PROTECT, related_name="facts"
    )
    what = models.CharField(max_length=8, choices=CheckoutChange)
    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    as_found = models.CharField(max_length=16, choices=AsFound, blank=True)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="checkout_facts")
    known = models.BooleanField(default=True)

    class Meta:
        ordering = ["entry_id", "id"]


class WithheldChange(models.TextChoices):
    """Kept back, or let go again."""

    KEPT = "kept"
    LET_GO = "let-go"


@append_only
class WithheldFact(models.Model):
    """A kit or a lot kept back for a reason, or let go again."""

    kit = models.ForeignKey(Kit, null=True, on_delete=models.PROTECT, related_name="withheld_facts")
    lot = models.ForeignKey(Lot, null=True, on_delete=models.PROTECT, related_name="withheld_facts")
    kind = models.CharField(max_length=24, choices=WithheldKind)
    what = models.CharField(max_length=6, choices=WithheldChange)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="withheld_facts")
    known = models.BooleanField(default=True)

    class Meta:
        ordering = ["entry_id", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kit__isnull=False, lot__isnull=True)
                | Q(kit__isnull=True, lot__isnull=False),
                name="withheld_fact_of_one_thing",
            ),
        ]


@append_only
class SignatureFact(InOrder):
    """A signature of a kit list's version; the latest is on the version itself."""

    version = models.ForeignKey(
        PackingListVersion, on_delete=models.PROTECT, related_name="signature_facts"
    )
    signed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    signed_on = models.DateField()
    signed_until = models.DateField()
    recorded_at = models.DateTimeField()
    known = models.BooleanField(default=True)


@append_only
class ItemFact(InOrder):
    """What was said of an item from an instant on, as far as a kit's record shows or judges by it:
    its columns by name, and the ids of what will do instead."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="facts")
    said = models.JSONField()
    recorded_at = models.DateTimeField()
    known = models.BooleanField(default=True)
