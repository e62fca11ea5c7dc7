"""What a person should be told, once."""

from __future__ import annotations

from django.db import models

from gearroom.core.models import Person, Room
from kits.models.kits import Kit
from kits.models.ledger import Entry


class Notice(models.Model):
    """Something a person should be told, written with the entry that gave rise to it.

    `fact` names what it is about (and for when), so that the same is never told twice.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="notices")
    kind = models.CharField(max_length=40)
    fact = models.CharField(max_length=160)
    room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    kit = models.ForeignKey(Kit, null=True, on_delete=models.PROTECT, related_name="notices")
    entry = models.ForeignKey(Entry, null=True, on_delete=models.PROTECT, related_name="notices")
    facts = models.JSONField(default=dict)
    created_at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    message_id = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["person", "kind", "fact"], name="notice_told_once"),
        ]
        indexes = [models.Index(fields=["person", "-id"]), models.Index(fields=["sent_at", "id"])]

    def __str__(self) -> str:
        return f"{self.kind} for {self.person}"
