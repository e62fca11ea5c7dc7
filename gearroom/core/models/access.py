"""Tokens for programs, and the answers kept so that an act is done once."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from gearroom.core.append_only import append_only
from gearroom.core.models.people import User


class Token(models.Model):
    """A secret that acts as a user. Only its SHA-256 is kept."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=80)
    prefix = models.CharField(max_length=12)
    sha256 = models.CharField(max_length=64, unique=True)
    scopes = models.JSONField(default=list)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"


@append_only
class KeptAnswer(models.Model):
    """The first answer to a keyed write, kept for ever.

    `request_sha256` is over the parsed request, so that the same act sent again by another route
    of bytes is still the same act. `body` is JSON as text: a JSON column would not keep the order
    of its members, and a replay is byte for byte.
    """

    key = models.UUIDField(primary_key=True)
    user = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    request_sha256 = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    body = models.TextField()
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(status__gte=200, status__lt=500) & ~Q(status__in=[401, 403, 413, 429]),
                name="kept_answer_status_kept",
            ),
        ]

    def __str__(self) -> str:
        return str(self.key)
