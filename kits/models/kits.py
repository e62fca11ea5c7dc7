"""Kits, their seals, what is judged by eye in them, and why one may be kept back."""

from collections.abc import Iterable
from datetime import date
from typing import Self

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper

from gearroom.core.models import Person, Room
from gearroom.core.models.append_only import InOrder, append_only
from kits.models.ledger import Entry
from kits.models.lists import PackingListVersion
from kits.models.stock.catalogue import Item
from kits.models.stock.places import Location, Place
from kits.rules.ledger.facts import Level, LivesIn, look_by


class KitQuerySet(models.QuerySet["Kit"]):
    """Kits by whether they are in use."""

    def active(self) -> Self:
        """Those not retired."""
        return self.filter(retired_on__isnull=True)


class Kit(models.Model):
    """One physical kit following a version of a kit list.

    `ready_until`, `fit_until` and `may_go_until` are the last days through which it is ready, at
    least low, and may go with a reason; None for no day at all, 31 December 9999 when nothing in
    it ends. After `clear_until` something inside is out of date and has to come out first,
    whatever the others say (see `kits.rules.ledger.readiness.FitDays`). `first_expiry` is the
    earliest date inside, None where nothing is dated. `contents_entered`: somebody has said what is
    in it. All of them are rewritten with every entry that touches the kit and re-derived by
    `audit`; `judged_by` is the edition of the rules that wrote them.
    """

    name = models.CharField(max_length=40)
    list_version = models.ForeignKey(
        PackingListVersion, on_delete=models.PROTECT, related_name="kits"
    )
    home_room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="home_kits")
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="kits")
    lives_in = models.CharField(
        max_length=10, choices=[(v.value, v.value) for v in LivesIn], default="store"
    )
    location = models.ForeignKey(
        Location, null=True, blank=True, on_delete=models.PROTECT, related_name="kits"
    )
    bag = models.CharField(max_length=80, blank=True)
    bag_volume_ml = models.PositiveIntegerField(null=True, blank=True)
    bag_mass_limit_g = models.PositiveIntegerField(null=True, blank=True)
    responsible = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="responsible_for"
    )
    deputy = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="deputy_for"
    )
    training = models.BooleanField(default=False)
    laid_up_since = models.DateTimeField(null=True, blank=True)
    lost_since = models.DateTimeField(null=True, blank=True)
    to_sort_since = models.DateTimeField(null=True, blank=True)
    looked_inside_on = models.DateField(null=True, blank=True)
    looked_inside_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    look_interval_days = models.PositiveSmallIntegerField(default=365)
    contents_entered = models.BooleanField(default=False)
    ready_until = models.DateField(null=True, blank=True)
    fit_until = models.DateField(null=True, blank=True)
    may_go_until = models.DateField(null=True, blank=True)
    clear_until = models.DateField(default=date.max)
    first_expiry = models.DateField(null=True, blank=True)
    judged_by = models.PositiveSmallIntegerField(default=0)
    retired_on = models.DateField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)

    objects = KitQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(Upper("name"), name="kit_name_once"),
            models.CheckConstraint(
                condition=Q(fit_until__isnull=True) | Q(may_go_until__gte=F("fit_until")),
                name="kit_may_go_at_least_while_fit",
            ),
            models.CheckConstraint(
                condition=Q(ready_until__isnull=True) | Q(fit_until__gte=F("ready_until")),
                name="kit_fit_at_least_while_ready",
            ),
            models.CheckConstraint(
                condition=Q(responsible__isnull=True)
                | Q(deputy__isnull=True)
                | ~Q(responsible=F("deputy")),
                name="kit_deputy_is_another",
            ),
        ]
        indexes = [
            models.Index(fields=["fit_until"]),
            models.Index(fields=["home_room", "name"]),
            models.Index(fields=["room", "name"]),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def look_by(self) -> date | None:
        """When its contents have to be checked again; None where nobody has yet."""
        checked = self.looked_inside_on
        return look_by(checked, self.look_interval_days) if checked else None


class SealQuerySet(models.QuerySet["Seal"]):
    """Seals of kits and sections."""

    def unbroken(self) -> Self:
        """Those still on."""
        return self.filter(broken__isnull=True)


class Seal(InOrder):
    """A numbered seal on a kit, or on one of its sections. Broken by any movement or report."""

    kit = models.ForeignKey(Kit, on_delete=models.PROTECT, related_name="seals")
    section = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="seals"
    )
    number = models.CharField(max_length=40)
    put_on = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="seals_put_on")
    broken = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="seals_broken"
    )

    objects = SealQuerySet.as_manager()

    class Meta(InOrder.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["kit"],
                condition=Q(broken__isnull=True, section__isnull=True),
                name="one_seal_on_a_kit",
            ),
            models.UniqueConstraint(
                fields=["section"],
                condition=Q(broken__isnull=True, section__isnull=False),
                name="one_seal_on_a_section",
            ),
            models.CheckConstraint(condition=~Q(number=""), name="seal_has_a_number"),
        ]

    def __str__(self) -> str:
        return self.number


class LevelFactQuerySet(models.QuerySet["LevelFact"]):
    """Levels by whether they count."""

    def newest_in(self, sections: Iterable[int]) -> Self:
        """The newest of each item in these sections (ids) that was not taken back."""
        newest = (
            self.filter(section__in=list(sections), entry__reversed_by__isnull=True)
            .values("section", "item")
            .annotate(newest=models.Max("id"))
            .order_by()
        )
        return self.filter(pk__in=newest.values("newest"))


@append_only
class LevelFact(InOrder):
    """How much of something judged by eye was seen in a section; the latest one counts."""

    section = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="levels")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="levels")
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="levels")
    level = models.CharField(max_length=6, choices=[(v.value, v.value) for v in Level])

    objects = LevelFactQuerySet.as_manager()

    class Meta(InOrder.Meta):
        indexes = [models.Index(fields=["section", "item", "-id"])]


class WithheldKind(models.TextChoices):
    """Why a kit or a lot is not to be taken."""

    RECALL = "recall", "recall"
    FAILED_CHECK = "failed-check", "failed check"
    DRYING = "drying", "drying"
    SOMETHING_WRONG = "something-wrong", "something wrong"
    KEEP_AS_IT_CAME_BACK = "keep-as-it-came-back", "keep as it came back"
    MIXED = "mixed", "contents mixed with another kit's"


class WithholdingQuerySet(models.QuerySet["Withholding"]):
    """What keeps kits and lots back."""

    def open(self) -> Self:
        """Those not released."""
        return self.filter(released__isnull=True)


class Withholding(InOrder):
    """A kit or a lot kept back, with the reason, until released."""

    kit = models.ForeignKey(
        Kit, null=True, blank=True, on_delete=models.PROTECT, related_name="withholdings"
    )
    lot = models.ForeignKey(
        "kits.Lot", null=True, blank=True, on_delete=models.PROTECT, related_name="withholdings"
    )
    kind = models.CharField(max_length=24, choices=WithheldKind)
    note = models.CharField(max_length=300, blank=True)
    since = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="withheld")
    released = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="released"
    )

    objects = WithholdingQuerySet.as_manager()

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(kit__isnull=False, lot__isnull=True)
                | Q(kit__isnull=True, lot__isnull=False),
                name="withholding_of_one_thing",
            ),
            models.UniqueConstraint(
                fields=["kit", "kind"], condition=Q(released__isnull=True), name="kit_withheld_once"
            ),
            models.UniqueConstraint(
                fields=["lot", "kind"], condition=Q(released__isnull=True), name="lot_withheld_once"
            ),
        ]


@append_only
class Photo(InOrder):
    """What was seen at an act, such as what is wrong with a kit: a JPEG without anything in it but
    pixels. `section`: how that pouch was packed when the kit was sealed."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="photos")
    jpeg = models.BinaryField()
    section = models.ForeignKey(
        Place, null=True, on_delete=models.PROTECT, related_name="photos_packed"
    )
