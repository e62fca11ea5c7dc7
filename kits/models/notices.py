"""What a person should be told, once, and how each of them wants to hear of it."""

from datetime import time
from typing import Self

from django.db import models
from django.db.models import Q

from gearroom.core import clock
from gearroom.core.models import Person, Room
from kits.models.kits import Kit
from kits.models.ledger import Entry


class NoticeQuerySet(models.QuerySet["Notice"]):
    """Notices by what became of them."""

    def unsent(self) -> Self:
        """Those neither sent nor taken back."""
        return self.filter(sent_at__isnull=True, taken_back_at__isnull=True)


class Notice(models.Model):
    """Something a person should be told, written with the entry that gave rise to it.

    `fact` names what it is about (and for when), so that the same is never told twice. `due_at` is
    when it may be sent, or tried again. Whoever sends it holds a `lease` until `lease_until`, and
    keeps in `rendered` the bytes that go out to `recipient`, so that sending again after a crash
    sends the same. `unsent_why` says why it is not sent by itself (see
    `kits.rules.notices.policy`).
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="notices")
    kind = models.CharField(max_length=40)
    fact = models.CharField(max_length=160)
    room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    kit = models.ForeignKey(Kit, null=True, on_delete=models.PROTECT, related_name="notices")
    entry = models.ForeignKey(Entry, null=True, on_delete=models.PROTECT, related_name="notices")
    facts = models.JSONField(default=dict)
    created_at = models.DateTimeField()
    due_at = models.DateTimeField(default=clock.now)
    unsent_why = models.CharField(max_length=20, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    lease = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    recipient = models.EmailField(blank=True)
    rendered = models.BinaryField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    message_id = models.CharField(max_length=120, blank=True)

    objects = NoticeQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["person", "kind", "fact"], name="notice_told_once"),
            models.CheckConstraint(
                condition=Q(sent_at__isnull=True) | ~Q(message_id=""),
                name="notice_sent_with_a_message_id",
            ),
        ]
        indexes = [
            models.Index(fields=["person", "-id"]),
            models.Index(fields=["sent_at", "id"]),
            models.Index(
                fields=["due_at"],
                condition=Q(sent_at__isnull=True, taken_back_at__isnull=True, unsent_why=""),
                name="notice_waiting",
            ),
            models.Index(fields=["kind", "fact"], name="notice_by_fact"),
        ]


class CalendarBy(models.TextChoices):
    """What an event of somebody's calendar is about that says what goes out of date."""

    BATCH = "batch"
    MONTH = "month"


class NotificationPreferences(models.Model):
    """How one person wants to be notified; without a row, as the defaults say.

    Times are of the person's home room. `refused_…` is what a mail server last refused for good,
    and for which address. Of the calendar's secret only its SHA-256 is kept.
    """

    person = models.OneToOneField(
        Person, on_delete=models.CASCADE, related_name="notification_preferences"
    )
    weekly_on = models.PositiveSmallIntegerField(default=0)
    weekly_at = models.TimeField(default=time(7))
    quiet_from = models.TimeField(null=True, blank=True)
    quiet_until = models.TimeField(null=True, blank=True)
    minutes_a_kit = models.PositiveSmallIntegerField(default=20)
    calendar_sha256 = models.CharField(max_length=64, null=True, blank=True, unique=True)
    calendar_by = models.CharField(
        max_length=5, choices=CalendarBy.choices, default=CalendarBy.BATCH
    )
    refused_address = models.EmailField(blank=True)
    refused_at = models.DateTimeField(null=True, blank=True)
    refused_why = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(weekly_on__lte=6), name="preferences_day_of_a_week"),
            models.CheckConstraint(
                condition=Q(quiet_from__isnull=True, quiet_until__isnull=True)
                | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="preferences_quiet_from_and_until",
            ),
        ]


class NotificationChoice(models.Model):
    """When somebody wants to be notified of one kind of notice."""

    person = models.ForeignKey(
        Person, on_delete=models.CASCADE, related_name="notification_choices"
    )
    kind = models.CharField(max_length=40)
    when = models.CharField(max_length=8, choices=[(w, w) for w in ("at-once", "weekly", "never")])

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "kind"], name="notification_choice_once_a_kind"
            ),
        ]


class ServiceRun(models.Model):
    """A time in which the program looked for what is due every minute, from `began_at` until
    `looked_at`: before the first look of a run the computer was off."""

    began_at = models.DateTimeField()
    looked_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]


class EpisodeQuerySet(models.QuerySet["Episode"]):
    """What was or is so for a time."""

    def open(self) -> Self:
        """Those that are still so."""
        return self.filter(closed_at__isnull=True)


class Episode(models.Model):
    """Something that is so from `opened_at` until `closed_at`, told once when it opens: such as
    stock of a thing (`subject`) in a room that is down to its order level."""

    kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=80)
    room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    kit = models.ForeignKey(Kit, null=True, on_delete=models.PROTECT, related_name="+")
    facts = models.JSONField(default=dict)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = EpisodeQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject"],
                condition=Q(closed_at__isnull=True),
                name="episode_open_once",
            ),
        ]
