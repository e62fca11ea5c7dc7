"""What was needed and no kit had: the only trace of what is not carried."""

from django.db import models
from django.db.models import Q

from gearroom.core.models.append_only import append_only
from gearroom.core.rules.names import LONGER
from gearroom.core.services.people.names import WordsField
from kits.models.catalogue import Item
from kits.models.ledger import Entry


@append_only
class UnmetNeed(models.Model):
    """Something that was needed and not in the kit: a known thing, or in somebody's own words. Its
    entry says from which kit, on which trip and when; it is in force until that is reversed."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="unmet_needs")
    item = models.ForeignKey(Item, null=True, on_delete=models.PROTECT, related_name="unmet_needs")
    words = WordsField(max_length=LONGER * 120, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(item__isnull=False, words="") | Q(item__isnull=True) & ~Q(words=""),
                name="unmet_need_of_a_thing_or_in_words",
            ),
        ]

    def __str__(self) -> str:
        return self.words or str(self.item)
