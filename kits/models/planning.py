"""What a kit is for: needs, what serves them and how often they come up; what is not carried and
why; whether a kit closed. And what was needed and no kit had."""

from typing import Self

from django.db import models
from django.db.models import Q

from gearroom.core.models import Person
from gearroom.core.models.append_only import InOrder, append_only
from gearroom.core.rules.names import LONGER
from gearroom.core.services.people.names import WordsField
from kits.models.kits import Kit
from kits.models.ledger import Entry
from kits.models.lists import PackingListVersion
from kits.models.stock.catalogue import Item
from kits.models.stock.places import Place


class NeedGroup(models.TextChoices):
    """What needs are grouped by: those that are likely to be alike."""

    WOUNDS = "wounds", "wounds and bleeding"
    FEET = "feet", "feet and skin"
    LIMBS = "limbs", "sprains and broken bones"
    ILLNESS = "illness", "pain and illness"
    ALLERGY = "allergy", "bites, stings and allergy"
    HEAT_COLD = "heat-cold", "heat and cold"
    SEVERE = "severe", "life-threatening"
    PROTECTION = "protection", "protection of whoever helps"


class NeedQuerySet(models.QuerySet["Need"]):
    """Needs by whether they are still used."""

    def active(self) -> Self:
        """Those not retired."""
        return self.filter(retired_on__isnull=True)


class Need(models.Model):
    """What an item is for, whichever item: a small wound, a blister, a sprain."""

    key = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80, unique=True)
    group = models.CharField(max_length=12, choices=NeedGroup)
    retired_on = models.DateField(null=True, blank=True)

    objects = NeedQuerySet.as_manager()

    class Meta:
        ordering = ["group", "name"]

    def __str__(self) -> str:
        return self.name


class ItemNeed(models.Model):
    """An item serves a need: with so many units a use; as the best there is, or instead of it.
    `needs_training`: only somebody trained for the need uses it."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="needs")
    need = models.ForeignKey(Need, on_delete=models.CASCADE, related_name="items")
    best = models.BooleanField(default=True)
    units_per_use = models.PositiveSmallIntegerField(default=1)
    needs_training = models.BooleanField(default=False)

    class Meta:
        ordering = ["need", "-best", "item"]
        constraints = [
            models.UniqueConstraint(fields=["item", "need"], name="item_serves_need_once"),
            models.CheckConstraint(
                condition=Q(units_per_use__gte=1, units_per_use__lte=16),
                name="item_need_units_in_bounds",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item} for {self.need}"


class Activity(models.Model):
    """What a trip does, for rates of its own: hill walking, gorge, cave."""

    key = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80, unique=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "activities"

    def __str__(self) -> str:
        return self.name


class RateSource(models.TextChoices):
    """Where a rate that is not our own comes from."""

    ADVISER = "adviser", "stated by the adviser"
    STUDY = "study", "published"


@append_only
class StatedRate(InOrder):
    """How often a need is believed to come up before our own records: the latest row counts.

    `per_1000` uses in 1,000 participant-days, None for *left blank*; it weighs as much as `weight`
    uses. `activity` None: in every activity. `study` is the key of a published study.
    """

    need = models.ForeignKey(Need, on_delete=models.PROTECT, related_name="stated_rates")
    activity = models.ForeignKey(
        Activity, null=True, on_delete=models.PROTECT, related_name="stated_rates"
    )
    per_1000 = models.DecimalField(max_digits=9, decimal_places=4, null=True)
    weight = models.DecimalField(max_digits=3, decimal_places=2, default=1)
    source = models.CharField(max_length=8, choices=RateSource)
    study = models.CharField(max_length=40, blank=True)
    note = WordsField(max_length=LONGER * 300, blank=True)
    stated_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(per_1000__isnull=True) | Q(per_1000__gt=0, weight__gt=0, weight__lte=2),
                name="stated_rate_in_bounds",
            ),
            models.CheckConstraint(
                condition=Q(source="study") & ~Q(study="") | Q(source="adviser", study=""),
                name="stated_rate_of_a_study_names_it",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.need_id}: {self.per_1000}"


class HazardNeed(models.Model):
    """What a list that serves a hazard must have: so many units for a need at least, and why."""

    hazard = models.SlugField(max_length=40)
    need = models.ForeignKey(Need, on_delete=models.CASCADE, related_name="hazards")
    units = models.PositiveSmallIntegerField(default=1)
    reason = models.CharField(max_length=300)

    class Meta:
        ordering = ["hazard", "need"]
        constraints = [
            models.UniqueConstraint(fields=["hazard", "need"], name="hazard_need_once"),
            models.CheckConstraint(condition=Q(units__gte=1), name="hazard_need_of_a_unit"),
        ]

    def __str__(self) -> str:
        return f"{self.hazard}: {self.need}"


class WhyNotCarried(models.TextChoices):
    """Why something is not carried."""

    NO_TRAINING = "no-training", "nobody is trained to use it"
    NOT_NEEDED = "not-needed", "this list’s trips do not need it"
    NEVER_USED = "never-used", "never used here"
    EXPIRES = "expires", "goes out of date unused"
    TOO_BIG = "too-big", "too heavy or too big"
    NOT_ALLOWED = "not-allowed", "law, protocol or adviser does not allow it"
    ELSEWHERE = "elsewhere", "carried by somebody else"
    OTHER_WAY = "other-way", "something else does the job"
    OTHER = "other", "another reason"


class NotCarried(models.Model):
    """An item or a need that a version of a list leaves out on purpose, and why.

    `hazards`, `activities` (keys) and `hours_to_care` say when it is carried all the same. Part of
    the version: it is copied, compared, printed and signed with it, and never changed once that is
    published.
    """

    version = models.ForeignKey(
        PackingListVersion, on_delete=models.CASCADE, related_name="not_carried"
    )
    item = models.ForeignKey(Item, null=True, on_delete=models.PROTECT, related_name="not_carried")
    need = models.ForeignKey(Need, null=True, on_delete=models.PROTECT, related_name="not_carried")
    why = models.CharField(max_length=12, choices=WhyNotCarried)
    words = models.CharField(max_length=300, blank=True)
    instead = models.CharField(max_length=300, blank=True)
    hazards = models.JSONField(default=list)
    activities = models.JSONField(default=list)
    hours_to_care = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    trained = models.CharField(max_length=300, blank=True)
    decided_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decided_on = models.DateField(null=True, blank=True)
    look_again_on = models.DateField(null=True, blank=True)
    look_again_after = models.CharField(max_length=200, blank=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "id"]
        verbose_name_plural = "not carried"
        constraints = [
            models.UniqueConstraint(fields=["version", "item"], name="item_not_carried_once"),
            models.UniqueConstraint(fields=["version", "need"], name="need_not_carried_once"),
            models.CheckConstraint(
                condition=Q(item__isnull=False, need__isnull=True)
                | Q(item__isnull=True, need__isnull=False),
                name="not_carried_of_an_item_or_a_need",
            ),
            models.CheckConstraint(
                condition=~Q(why="other") | ~Q(words=""), name="not_carried_other_says_why"
            ),
        ]

    def __str__(self) -> str:
        return str(self.item or self.need)


@append_only
class Closing(InOrder):
    """Whether a kit, or one section of it, closed with what was in it: of an entry of sealing.

    `volume_ml` of what was in it, as far as known (`known_share` 0 to 1 of its units); `mass_g` is
    what it weighed on a scale.
    """

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="closings")
    kit = models.ForeignKey(Kit, on_delete=models.PROTECT, related_name="closings")
    section = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="+")
    closed = models.BooleanField(null=True)
    volume_ml = models.PositiveIntegerField(null=True)
    known_share = models.FloatField(default=0)
    mass_g = models.PositiveIntegerField(null=True)

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(closed__isnull=False) | Q(mass_g__isnull=False),
                name="closing_says_something",
            ),
            models.CheckConstraint(
                condition=Q(known_share__gte=0, known_share__lte=1), name="closing_share_in_bounds"
            ),
        ]


@append_only
class UnmetNeed(InOrder):
    """Something that was needed and not in the kit: a known thing, or in somebody's own words. Its
    entry says from which kit, on which trip and when; it is in force until that is reversed."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="unmet_needs")
    item = models.ForeignKey(Item, null=True, on_delete=models.PROTECT, related_name="unmet_needs")
    words = WordsField(max_length=LONGER * 120, blank=True)

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(item__isnull=False, words="") | Q(item__isnull=True) & ~Q(words=""),
                name="unmet_need_of_a_thing_or_in_words",
            ),
        ]

    def __str__(self) -> str:
        return self.words or str(self.item)
