"""Advice for trips of others: whether it is on, who may send it, what was asked, and the exact copy
of every answer that was sent."""

from django.db import models
from django.db.models import Q

from gearroom.core.models import Person
from gearroom.core.models.append_only import append_only
from gearroom.core.rules.names import LONGER
from gearroom.core.services.people.names import WordsField, WordsJSONField


class AdviceSettings(models.Model):
    """Whether advice for others is on: one row, or none while nobody ever turned it on."""

    on = models.BooleanField(default=False)
    changed_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    changed_at = models.DateTimeField()
    senders = models.ManyToManyField(Person, related_name="+")

    class Meta:
        verbose_name_plural = "advice settings"
        constraints = [models.CheckConstraint(condition=Q(id=1), name="advice_settings_once")]


class Advice(models.Model):
    """One link, what was answered by it (`answers`, null until then) and the draft that was made of
    that. Of the link only its SHA-256 is kept. `revision` counts every change of it."""

    sha256 = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    answers = models.JSONField(null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    draft = models.JSONField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "advice"
        constraints = [
            models.CheckConstraint(
                condition=Q(answers__isnull=True, answered_at__isnull=True, draft__isnull=True)
                | Q(answers__isnull=False, answered_at__isnull=False, draft__isnull=False),
                name="advice_answered_whole",
            ),
        ]


@append_only
class AdviceCopy(models.Model):
    """An answer as it was sent: all that it says, in every language. A later one of the same advice
    takes its place; this stays."""

    advice = models.ForeignKey(Advice, on_delete=models.PROTECT, related_name="copies")
    number = models.PositiveIntegerField()
    sent_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField()
    not_after = models.DateField()
    text = WordsJSONField()

    class Meta:
        ordering = ["advice", "number"]
        verbose_name_plural = "advice copies"
        constraints = [
            models.UniqueConstraint(fields=["advice", "number"], name="advice_copy_once"),
        ]


@append_only
class AdviceWithdrawal(models.Model):
    """That advice was withdrawn: by whom, when and why. Its link says so from then on."""

    advice = models.OneToOneField(Advice, on_delete=models.PROTECT, related_name="withdrawal")
    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = WordsField(max_length=LONGER * 300)

    class Meta:
        ordering = ["id"]
