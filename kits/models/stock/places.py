"""Places: where units are (inner) and where they came from or went to (outer)."""

from typing import Self

from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper

from gearroom.core.models import Room
from kits.rules.ledger.facts import Weather


class PlaceKind(models.TextChoices):
    """Inner places keep holdings; outer ones do not."""

    SHELF = "shelf", "shelf"
    SECTION = "section", "kit section"
    QUARANTINE = "quarantine", "quarantine"
    TRANSIT = "transit", "in transit"
    TRAINING = "training", "training"
    AWAY = "away", "went with a casualty"
    SUPPLIER = "supplier", "supplier"
    USED = "used", "used"
    CLASS = "class", "used in class"
    BIN = "bin", "bin"
    SHARPS = "sharps", "sharps"
    CLINICAL = "clinical", "clinical waste"
    PHARMACY = "pharmacy", "pharmacy"
    RETURNED = "returned", "returned to maker"
    SOLD = "sold", "sold"
    GIVEN = "given", "given away"
    UNEXPLAINED = "unexplained", "unexplained"
    RECLASSIFIED = "reclassified", "reclassified"


INNER = (
    PlaceKind.SHELF,
    PlaceKind.SECTION,
    PlaceKind.QUARANTINE,
    PlaceKind.TRANSIT,
    PlaceKind.TRAINING,
    PlaceKind.AWAY,
)
DISPOSALS = (
    PlaceKind.BIN,
    PlaceKind.SHARPS,
    PlaceKind.CLINICAL,
    PlaceKind.PHARMACY,
    PlaceKind.RETURNED,
)
LEFT_US = (PlaceKind.SOLD, PlaceKind.GIVEN)
"""Where units went that others have now: neither used nor wasted."""


class Location(models.Model):
    """A van, a boat, a hut, a home where kits and shelves of a room are, with what the weather does
    there: the months (1 to 12) of frost, heat and wet, and how cold and hot it gets in them."""

    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="locations")
    name = models.CharField(max_length=80)
    frost_months = models.JSONField(default=list)
    heat_months = models.JSONField(default=list)
    wet_months = models.JSONField(default=list)
    coldest_c = models.SmallIntegerField(null=True, blank=True)
    hottest_c = models.SmallIntegerField(null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint("room", Upper("name"), name="location_name_once_in_a_room"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def weather(self) -> Weather:
        """What the weather does there, as the rules take it."""
        return Weather(
            frost=frozenset(self.frost_months),
            heat=frozenset(self.heat_months),
            wet=frozenset(self.wet_months),
            coldest_c=self.coldest_c,
            hottest_c=self.hottest_c,
        )


class PlaceQuerySet(models.QuerySet["Place"]):
    """Places by kind and by whether they are in use."""

    def open(self) -> Self:
        """Those in use."""
        return self.filter(closed_on__isnull=True)

    def shelves(self) -> Self:
        """Shelves."""
        return self.filter(kind=PlaceKind.SHELF)

    def to_restock(self, *, for_class: bool) -> Self:
        """Where what goes into a kit comes from: shelves, of a training kit also training boxes."""
        boxes = [PlaceKind.TRAINING] if for_class else []
        return self.filter(kind__in=[PlaceKind.SHELF, *boxes])

    def sections(self) -> Self:
        """Sections of kits."""
        return self.filter(kind=PlaceKind.SECTION)


class Place(models.Model):
    """A shelf, a kit's section, a room's quarantine, training box, incoming transit or what went
    away with a casualty and may come back, or one of the outer places, of which there is one each
    for the organisation."""

    kind = models.CharField(max_length=12, choices=PlaceKind)
    name = models.CharField(max_length=80)
    room = models.ForeignKey(
        Room, null=True, blank=True, on_delete=models.PROTECT, related_name="places"
    )
    kit = models.ForeignKey(
        "kits.Kit", null=True, blank=True, on_delete=models.PROTECT, related_name="sections"
    )
    section_key = models.CharField(max_length=40, blank=True)
    position = models.PositiveIntegerField(default=0)
    location = models.ForeignKey(
        Location, null=True, blank=True, on_delete=models.PROTECT, related_name="shelves"
    )
    closed_on = models.DateField(null=True, blank=True)

    objects = PlaceQuerySet.as_manager()

    class Meta:
        ordering = ["position", "name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["room", "name"], condition=Q(kind="shelf"), name="shelf_name_once_in_a_room"
            ),
            models.UniqueConstraint(
                fields=["room", "kind"],
                condition=Q(kind__in=["quarantine", "transit", "training", "away"]),
                name="one_such_place_in_a_room",
            ),
            models.UniqueConstraint(
                fields=["kit", "section_key"],
                condition=Q(kind="section"),
                name="section_key_once_in_a_kit",
            ),
            models.UniqueConstraint(
                fields=["kind"],
                condition=Q(room__isnull=True, kit__isnull=True),
                name="outer_place_once",
            ),
            models.CheckConstraint(
                condition=(
                    Q(kind="section", kit__isnull=False, room__isnull=True) & ~Q(section_key="")
                    | Q(
                        kind__in=["shelf", "quarantine", "transit", "training", "away"],
                        room__isnull=False,
                        kit__isnull=True,
                        section_key="",
                    )
                    | Q(
                        kind__in=[k.value for k in PlaceKind if k not in INNER],
                        room__isnull=True,
                        kit__isnull=True,
                        section_key="",
                    )
                ),
                name="place_belongs_where_its_kind_does",
            ),
            models.CheckConstraint(
                condition=Q(location__isnull=True) | Q(kind="shelf"),
                name="only_a_shelf_is_at_a_location",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def where(self) -> str:
        """What it is called and, of a shelf that is not in its room, where it is now."""
        return f"{self.name} ({self.location.name})" if self.location else self.name

    @property
    def inner(self) -> bool:
        """Whether it keeps holdings."""
        return self.kind in INNER

    @property
    def room_now(self) -> Room:
        """The room that an inner place is in: its own, or of a section the one its kit is in.
        Raises `ValueError` for an outer place."""
        room = self.kit.room if self.kit else self.room
        if room is None:
            raise ValueError(f"{self.name} is an outer place and in no room.")
        return room
