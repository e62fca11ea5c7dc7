"""Printed codes bound to what they are stuck on."""

from typing import Self

from django.db import models
from django.db.models import Q

from gearroom.core.models import Person, Room
from kits.models.kits import Kit
from kits.models.stock.lots import Lot
from kits.models.stock.places import Place


class LabelKind(models.TextChoices):
    """What a label is bound to; a blank one waits to be bound."""

    KIT = "kit"
    SECTION = "section"
    LOT = "lot"
    SHELF = "shelf"
    PERSON = "person"
    BLANK = "blank"


def _bound(target: str, *kinds: LabelKind) -> Q:
    """Labels of these kinds have this target and no other."""
    targets = ("kit", "place", "lot", "person")
    return Q(kind__in=[k.value for k in kinds], **{f"{t}__isnull": t != target for t in targets})


class LabelQuerySet(models.QuerySet["Label"]):
    """Labels by whether they are valid."""

    def active(self) -> Self:
        """Those not cancelled."""
        return self.filter(cancelled_at__isnull=True)


class Label(models.Model):
    """A printed code. `place` is the section or shelf it is stuck on."""

    code = models.CharField(max_length=8, unique=True)
    kind = models.CharField(max_length=8, choices=LabelKind, default=LabelKind.BLANK)
    kit = models.ForeignKey(
        Kit, null=True, blank=True, on_delete=models.PROTECT, related_name="labels"
    )
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="labels"
    )
    lot = models.ForeignKey(
        Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="labels"
    )
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="labels"
    )
    room = models.ForeignKey(
        Room, null=True, blank=True, on_delete=models.PROTECT, related_name="labels"
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    printed_at = models.DateTimeField(null=True, blank=True)
    bound_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancelled_why = models.CharField(max_length=200, blank=True)
    replaced_by = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaces"
    )

    objects = LabelQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=_bound("kit", LabelKind.KIT)
                | _bound("place", LabelKind.SECTION, LabelKind.SHELF)
                | _bound("lot", LabelKind.LOT)
                | _bound("person", LabelKind.PERSON)
                | _bound("", LabelKind.BLANK),
                name="label_bound_to_what_it_says",
            ),
            models.CheckConstraint(
                condition=Q(replaced_by__isnull=True) | Q(cancelled_at__isnull=False),
                name="label_replaced_is_cancelled",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def of_kit(self) -> Kit | None:
        """The kit that it is on, or that has the place that it is on."""
        return self.kit or (self.place.kit if self.place else None)
