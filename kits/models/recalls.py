"""Makers' recalls, with a row for each place that holds the batch, certainly or maybe."""

from typing import Self

from django.db import models
from django.db.models import F, Q

from gearroom.core.models import Person
from kits.models.ledger import Entry
from kits.models.stock.catalogue import Item
from kits.models.stock.places import Place
from kits.rules.recalls.certainty import Outcome


class RecallScope(models.TextChoices):
    """What the maker named."""

    NUMBER = "number", "one lot number"
    ALL = "all", "every batch"
    NOT_KNOWN = "not-known", "lot number not known yet"


class RecallQuerySet(models.QuerySet["Recall"]):
    """Recalls by how they stand."""

    def open(self) -> Self:
        """Those that are still followed."""
        return self.filter(closed__isnull=True)

    def blocking(self) -> Self:
        """Those whose batches may not be used: all that the maker has not withdrawn."""
        return self.exclude(outcome=Outcome.WITHDRAWN)


class Recall(models.Model):
    """A recall of an item by the maker's lot number (or all of it, or not known yet).

    `closed` is the entry that ended it, with its `outcome`: finished, so that its batches stay
    blocked, or withdrawn by the maker; `published_at` then says where that can be read.
    """

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="recalls")
    scope = models.CharField(max_length=10, choices=RecallScope)
    number = models.CharField(max_length=40, blank=True)
    reference = models.CharField(max_length=80, blank=True)
    advice = models.CharField(max_length=500, blank=True)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="recalls")
    closed = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="recalls_closed"
    )
    outcome = models.CharField(
        max_length=10, blank=True, choices=[(each.value, each.value) for each in Outcome]
    )
    published_at = models.CharField(max_length=300, blank=True)

    objects = RecallQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "scope", "number"],
                condition=Q(closed__isnull=True),
                name="recall_open_once",
            ),
            models.CheckConstraint(
                condition=(Q(scope="number") & ~Q(number="")) | (~Q(scope="number") & Q(number="")),
                name="recall_number_fits_scope",
            ),
            models.CheckConstraint(
                condition=Q(closed__isnull=True, outcome="")
                | (Q(closed__isnull=False) & ~Q(outcome="")),
                name="recall_closed_with_an_outcome",
            ),
            models.CheckConstraint(
                condition=Q(outcome="withdrawn") & ~Q(published_at="")
                | (~Q(outcome="withdrawn") & Q(published_at="")),
                name="recall_withdrawn_somewhere",
            ),
        ]


class Certainty(models.TextChoices):
    """How sure the book is that a place holds the recalled batch."""

    CERTAIN = "certain", "certainly"
    MAYBE = "maybe", "maybe"


class RecallPlace(models.Model):
    """One place that holds recalled units: how many at least and at most, who has it, who was
    told and what they answered."""

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="places")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="recall_places")
    certainty = models.CharField(max_length=8, choices=Certainty)
    units_min = models.PositiveIntegerField()
    units_max = models.PositiveIntegerField()
    quarantined = models.PositiveIntegerField(default=0)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="recall_places"
    )
    told_at = models.DateTimeField(null=True, blank=True)
    answer = models.CharField(max_length=300, blank=True)
    answered_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answered = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="recall_answers"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["recall", "place"], name="recall_place_once"),
            models.CheckConstraint(
                condition=Q(units_min__lte=F("units_max"), units_max__gte=1),
                name="recall_units_in_order",
            ),
        ]
