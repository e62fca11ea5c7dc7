"""Kit lists: versions with sections and lines, each version signed until a date."""

from datetime import date

from django.db import models
from django.db.models import F, Q

from gearroom.core.models import Person
from kits.models.stock.catalogue import Item
from kits.rules.ledger.facts import Criticality


class PackingList(models.Model):
    """A kit list under one name; what it says is in its versions."""

    name = models.CharField(max_length=80, unique=True)
    note = models.CharField(max_length=300, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class PackingListVersion(models.Model):
    """One version: a draft until published, then never changed but for its signature."""

    packing_list = models.ForeignKey(PackingList, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    people = models.PositiveSmallIntegerField()
    days = models.PositiveSmallIntegerField()
    hazards = models.JSONField(default=list)
    note = models.CharField(max_length=500, blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    published_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    signed_on = models.DateField(null=True, blank=True)
    signed_until = models.DateField(null=True, blank=True)
    signature_note = models.CharField(max_length=300, blank=True)
    signed_page = models.BinaryField(null=True, blank=True)
    signed_page_type = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["packing_list_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["packing_list", "number"], name="list_version_once"),
            models.CheckConstraint(
                condition=Q(people__gte=1, days__gte=1), name="list_serves_somebody"
            ),
            models.CheckConstraint(
                condition=Q(
                    signed_by__isnull=True, signed_on__isnull=True, signed_until__isnull=True
                )
                | Q(
                    signed_by__isnull=False,
                    signed_on__isnull=False,
                    signed_until__gte=F("signed_on"),
                    published_at__isnull=False,
                ),
                name="list_signature_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.packing_list} v{self.number}"

    def is_signed_on(self, day: date) -> bool:
        """Whether its signature is in force on a day."""
        ends = self.signed_until
        return self.signed_on is not None and ends is not None and self.signed_on <= day <= ends


class ListSection(models.Model):
    """A section (pouch) of a version; `key` stays the same from version to version. What is in one
    that is `outside` is carried beside the bag, and takes no room in it."""

    version = models.ForeignKey(
        PackingListVersion, on_delete=models.CASCADE, related_name="sections"
    )
    key = models.SlugField(max_length=40)
    name = models.CharField(max_length=80)
    outside = models.BooleanField(default=False)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.UniqueConstraint(fields=["version", "key"], name="list_section_key_once"),
        ]

    def __str__(self) -> str:
        return self.name


class ListLine(models.Model):
    """One line: how many to carry, never below how many, how much it matters, and why."""

    section = models.ForeignKey(ListSection, on_delete=models.CASCADE, related_name="lines")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="list_lines")
    carry = models.PositiveIntegerField()
    never_below = models.PositiveIntegerField()
    criticality = models.CharField(
        max_length=10, choices=[(c.value, c.value) for c in Criticality], default="routine"
    )
    reason = models.CharField(max_length=300, blank=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.UniqueConstraint(fields=["section", "item"], name="list_line_once"),
            models.CheckConstraint(
                condition=Q(carry__gte=1, never_below__lte=F("carry")), name="list_line_in_order"
            ),
            models.CheckConstraint(
                condition=Q(criticality__in=[c.value for c in Criticality]),
                name="list_line_criticality_known",
            ),
        ]
