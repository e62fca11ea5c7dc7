"""Where other programs want events sent, and what came of sending them."""

from datetime import datetime
from typing import Self

from django.db import models
from django.db.models import Exists, OuterRef, Q

from gearroom.core.models import Person, Room
from kits.models.events import Event


class WebhookStop(models.TextChoices):
    """Why nothing is sent to a webhook."""

    OFF = "off"  # somebody turned it off
    PARKED = "parked"  # it failed for three days
    GONE = "gone"  # its server answered that nobody wants events there
    NO_RIGHT = "no-right"  # whoever made it may no longer have one
    NO_SECRET = "no-secret"  # SECRET_KEY is another than when its secret was made


class WebhookQuerySet(models.QuerySet["Webhook"]):
    """Webhooks by what is to be done about them."""

    def sending(self) -> Self:
        """Those that events are sent to."""
        return self.filter(stopped="")

    def due(self, now: datetime, horizon: int) -> Self:
        """Those with something to send now: events up to a position, or what somebody asked for."""
        asked_for = WebhookAttempt.objects.waiting().filter(webhook=OuterRef("pk"))
        events = Q(stopped="", due_at__lte=now, position__lt=horizon)
        return self.filter(events | Exists(asked_for)).order_by("due_at", "pk")


class Webhook(models.Model):
    """An address that events are sent to, one after another, each until it is accepted.

    `types` are of the events that are wanted; none: all. They are of `room`, or without one of
    every room for which `made_by` may have webhooks. Everything up to `position` was accepted, left
    out or not wanted. After `tries` failures in a row the next one is `due_at`. The secrets that
    sign are encrypted under SECRET_KEY; `older_secret` signs too, until `older_until`.
    """

    name = models.CharField(max_length=80)
    address = models.CharField(max_length=2000)
    types = models.JSONField(default=list, blank=True)
    room = models.ForeignKey(
        Room, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    secret = models.TextField()
    older_secret = models.TextField(blank=True)
    older_until = models.DateTimeField(null=True, blank=True)
    position = models.BigIntegerField()
    tries = models.PositiveSmallIntegerField(default=0)
    failing_since = models.DateTimeField(null=True, blank=True)
    due_at = models.DateTimeField()
    stopped = models.CharField(max_length=10, choices=WebhookStop.choices, blank=True)
    stopped_at = models.DateTimeField(null=True, blank=True)

    objects = WebhookQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(stopped="", stopped_at=None) | (~Q(stopped="") & ~Q(stopped_at=None)),
                name="webhook_stopped_at_a_time",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class WebhookAttemptQuerySet(models.QuerySet["WebhookAttempt"]):
    """Attempts by whether they were made."""

    def waiting(self) -> Self:
        """Those that somebody asked for and that were not made yet."""
        return self.filter(at=None)


class WebhookAttempt(models.Model):
    """That something was sent, or is to be, as somebody asked (`at` None until it was).

    `status` is what the server answered; None where nothing came, for the reason of `failure`
    (`gearroom.core.outbound.Failure`). Without an event it is a test.
    """

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="attempts")
    event = models.ForeignKey(Event, null=True, on_delete=models.PROTECT, related_name="+")
    message_id = models.UUIDField()
    asked_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(null=True)
    at = models.DateTimeField(null=True, db_index=True)
    milliseconds = models.PositiveIntegerField(null=True)
    status = models.PositiveSmallIntegerField(null=True)
    failure = models.CharField(max_length=20, blank=True)

    objects = WebhookAttemptQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["webhook", "-id"], name="webhook_attempts_latest"),
            models.Index(fields=["webhook"], condition=Q(at=None), name="webhook_attempt_waits"),
        ]

    @property
    def accepted(self) -> bool:
        """Whether the server took it."""
        return self.status is not None and 200 <= self.status < 300
