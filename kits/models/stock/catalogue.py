"""Things: what a kit may hold, how makers code it and what will do instead."""

from typing import Self

from django.db import models
from django.db.models import F, Q

from kits.rules.custody.in_class import usable_in_class
from kits.rules.ledger.facts import Kind


class Disposal(models.TextChoices):
    """Where units of a thing go when they are thrown out."""

    BIN = "bin", "bin"
    SHARPS = "sharps", "sharps tub"
    CLINICAL = "clinical", "clinical waste"
    PHARMACY = "pharmacy", "pharmacy"
    RETURNED = "returned", "returned to maker"


class ItemQuerySet(models.QuerySet["Item"]):
    """Items by whether they are still bought."""

    def active(self) -> Self:
        """Those not retired."""
        return self.filter(retired_on__isnull=True)


class Item(models.Model):
    """A kind of thing. Everything is counted in its base unit, the smallest thing counted."""

    name = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=12, choices=[(k.value, k.value) for k in Kind])
    base_unit = models.CharField(max_length=40)
    needs_date = models.BooleanField(default=True)
    sterile = models.BooleanField(default=False)
    by_eye = models.BooleanField(default=False)
    latex = models.BooleanField(default=False)
    child = models.BooleanField(default=False)
    min_temp_c = models.SmallIntegerField(null=True, blank=True)
    max_temp_c = models.SmallIntegerField(null=True, blank=True)
    keep_dry = models.BooleanField(default=False)
    opened_life_days = models.PositiveSmallIntegerField(null=True, blank=True)
    check_every_days = models.PositiveSmallIntegerField(null=True, blank=True)
    check_question = models.CharField(max_length=200, blank=True)
    disposal = models.CharField(max_length=10, choices=Disposal, default=Disposal.BIN)
    volume_ml = models.PositiveIntegerField(null=True, blank=True)
    mass_g = models.PositiveIntegerField(null=True, blank=True)
    lead_time_days = models.PositiveSmallIntegerField(default=14)
    order_down_to = models.PositiveIntegerField(null=True, blank=True)
    goes_with = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="accompanied_by"
    )
    caution = models.CharField(max_length=300, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)
    instead = models.ManyToManyField(
        "self", through="Substitute", symmetrical=False, related_name="stands_in_for"
    )

    objects = ItemQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=[k.value for k in Kind]), name="item_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(min_temp_c__isnull=True)
                | Q(max_temp_c__isnull=True)
                | Q(min_temp_c__lte=F("max_temp_c")),
                name="item_temperatures_in_order",
            ),
            models.CheckConstraint(condition=~Q(base_unit=""), name="item_has_a_base_unit"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def for_class(self) -> bool:
        """Whether a class can use it."""
        return usable_in_class(Kind(self.kind), self.disposal)


class Substitute(models.Model):
    """What will do instead of a thing, one for one. `at_next_order`: it is better, and is ordered
    in its place from now on, while what there is gets used up."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="substitutes")
    instead = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    at_next_order = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["item", "instead"], name="substitute_once"),
            models.UniqueConstraint(
                fields=["item"], condition=Q(at_next_order=True), name="substitute_ordered_once"
            ),
            models.CheckConstraint(condition=~Q(item=F("instead")), name="substitute_is_another"),
        ]


class PackCode(models.Model):
    """A maker's GTIN (14 digits) and how many base units a pack with it holds."""

    gtin = models.CharField(max_length=14, unique=True)
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="pack_codes")
    units_per_pack = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(units_per_pack__gte=1), name="pack_holds_a_unit"),
            models.CheckConstraint(condition=Q(gtin__regex=r"^[0-9]{14}$"), name="gtin_14_digits"),
        ]

    def __str__(self) -> str:
        return self.gtin
