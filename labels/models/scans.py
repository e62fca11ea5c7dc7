"""Reading events: what was read, what it meant, what was done."""

from django.db import models

from gearroom.core.models import Person, Room
from gearroom.core.models.append_only import append_only
from gearroom.core.rules.names import LONGER
from gearroom.core.services.people.names import WordsField
from kits.models import Entry, Label


@append_only
class Scan(models.Model):
    """One thing read in a reading event; a picture with five labels gives five rows of one key."""

    key = models.UUIDField(db_index=True)
    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    intent = models.CharField(max_length=12)
    text = WordsField(max_length=LONGER * 500, blank=True)
    symbology = models.CharField(max_length=30, blank=True)
    picture_sha256 = models.CharField(max_length=64, blank=True)
    rung = models.CharField(max_length=40, blank=True)
    label = models.ForeignKey(Label, null=True, on_delete=models.PROTECT, related_name="scans")
    means = models.CharField(max_length=20)
    outcome = models.CharField(max_length=40)
    entry = models.ForeignKey(Entry, null=True, on_delete=models.PROTECT, related_name="scans")
    read_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
