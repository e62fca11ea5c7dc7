"""Changes made to several kit lists at once: what changes, for what reason, on which sources, and
when to look at it again.

All rows are kept as they were written. What is so now is the latest review: a later day to look
again, or that the change was withdrawn.
"""

from datetime import date

from django.db import models
from django.db.models import F, Q

from gearroom.core.models import Person
from gearroom.core.models.append_only import InOrder, append_only
from gearroom.core.rules.names import LONGER
from gearroom.core.services.people.names import WordsField
from kits.models.lists import PackingListVersion
from kits.models.stock.catalogue import Item
from kits.rules.ledger.facts import Criticality


class What(models.TextChoices):
    """What a change does to each list."""

    SWAP = "swap", "put another item in its place"
    ADD = "add", "add it"
    REMOVE = "remove", "leave it out"
    AMOUNT = "amount", "carry another number of it, or let it matter more or less"


@append_only
class ListChange(InOrder):
    """One change to several lists. `claim` is why. `instead` takes the place of `item`, in every
    kit by `by_day`; `carry`, `never_below` and `criticality` are of what is added or has another
    amount."""

    what = models.CharField(max_length=6, choices=What)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="list_changes")
    instead = models.ForeignKey(Item, null=True, on_delete=models.PROTECT, related_name="+")
    carry = models.PositiveIntegerField(null=True)
    never_below = models.PositiveIntegerField(null=True)
    criticality = models.CharField(
        max_length=10, choices=[(c.value, c.value) for c in Criticality], blank=True
    )
    claim = WordsField(max_length=LONGER * 300)
    by_day = models.DateField(null=True)
    review_on = models.DateField()
    made_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(what="swap", instead__isnull=False, by_day__isnull=False)
                | ~Q(what="swap") & Q(instead__isnull=True, by_day__isnull=True),
                name="list_change_swap_whole",
            ),
            models.CheckConstraint(
                condition=Q(instead__isnull=True) | ~Q(instead=F("item")),
                name="list_change_swaps_another",
            ),
            models.CheckConstraint(
                condition=Q(what__in=["add", "amount"], carry__gte=1, never_below__lte=F("carry"))
                | Q(what__in=["swap", "remove"], carry__isnull=True, never_below__isnull=True),
                name="list_change_amount_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what}: {self.item}"

    @property
    def latest_review(self) -> "ListChangeReview | None":
        """The review that counts now; load `reviews` with several changes."""
        return max(self.reviews.all(), key=lambda row: row.pk, default=None)

    @property
    def withdrawn(self) -> bool:
        """Whether the change no longer holds."""
        last = self.latest_review
        return last is not None and last.review_on is None

    @property
    def due_on(self) -> date | None:
        """The day to look at it again; None once it was withdrawn."""
        last = self.latest_review
        return last.review_on if last else self.review_on


@append_only
class ListChangeSource(InOrder):
    """A source for or against a change: what it says, where that was read, from when it is. `study`
    is the key of a published study."""

    change = models.ForeignKey(ListChange, on_delete=models.PROTECT, related_name="sources")
    supports = models.BooleanField()
    says = WordsField(max_length=LONGER * 500)
    read_in = WordsField(max_length=LONGER * 300, blank=True)
    study = models.CharField(max_length=40, blank=True)
    dated = models.DateField(null=True)

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=~Q(study="", read_in=""), name="list_change_source_named"
            ),
        ]


@append_only
class ListChangeVersion(InOrder):
    """A version of a list that a change was written into, as a draft."""

    change = models.ForeignKey(ListChange, on_delete=models.PROTECT, related_name="versions")
    version = models.ForeignKey(
        PackingListVersion, on_delete=models.PROTECT, related_name="list_changes"
    )

    class Meta(InOrder.Meta):
        constraints = [
            models.UniqueConstraint(fields=["change", "version"], name="list_change_version_once"),
        ]


@append_only
class ListChangeReview(InOrder):
    """Somebody looked at a change again: it holds until it is looked at on `review_on`, or was
    withdrawn (None)."""

    change = models.ForeignKey(ListChange, on_delete=models.PROTECT, related_name="reviews")
    review_on = models.DateField(null=True)
    note = WordsField(max_length=LONGER * 300, blank=True)
    reviewed_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    reviewed_at = models.DateTimeField()
