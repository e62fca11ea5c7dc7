"""What other programs are to learn of: events, and what was last announced of things that change by
the mere passing of time."""

import uuid

from django.db import models

from gearroom.core.models import Room
from gearroom.core.models.append_only import InOrder, append_only


@append_only
class Event(InOrder):
    """Something that happened, for other programs; written in the transaction of the change.

    The id is its position: see `kits.services.events.reading` for how readers go on from one
    without missing any. `message_id` names it wherever it is sent; `type` and `version` say what
    `data` holds (`kits.rules.events`). What is of one `subject` is in the order in which it
    happened. `room` is whose it is and `other_room` where it happened, if elsewhere; without a
    room it is the whole organisation's. `data` has numbers, codes and times alone: the row is kept
    for ever, so names are put in as it is read.
    """

    message_id = models.UUIDField(default=uuid.uuid4, unique=True)
    type = models.CharField(max_length=40)
    version = models.PositiveSmallIntegerField(default=1)
    subject = models.CharField(max_length=60)
    room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    other_room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    data = models.JSONField(default=dict)

    class Meta(InOrder.Meta):
        indexes = [
            models.Index(fields=["subject", "id"]),
            models.Index(fields=["type", "id"]),
        ]

    def __str__(self) -> str:
        return f"{self.type} {self.subject}"


class Announced(models.Model):
    """The word that was last announced of a thing (`subject`), of what `kind`, so that an
    event is written only where it is another."""

    kind = models.CharField(max_length=20)
    subject = models.CharField(max_length=60)
    word = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "subject"], name="announced_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}: {self.word}"
