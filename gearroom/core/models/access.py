"""Tokens, shared devices, who is signed in where; the answers kept so that an act is done once."""

from django.db import models
from django.db.models import Q

from gearroom.core.models.append_only import InOrder, append_only
from gearroom.core.models.people import Person, Room, User


class Token(models.Model):
    """A secret that acts as a user. Only its SHA-256 is kept.

    `made_with` is the token that it was made with, which it never outlasts. `made_by`, where it is
    of a program, is who answers for that: without the right over it, the token ends.
    """

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=80)
    prefix = models.CharField(max_length=12)
    sha256 = models.CharField(max_length=64, unique=True)
    scopes = models.JSONField(default=list)
    made_with = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="made"
    )
    made_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"


class Device(models.Model):
    """A shared phone or tablet at a room's hatch, signed in as the room until it is ended.

    Its user has no password: the sign-in lives in the device's browser alone. What is done there
    by nobody who said who they are is on record under the name of the user's person.
    """

    user = models.OneToOneField(User, on_delete=models.PROTECT, related_name="device")
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="devices")
    name = models.CharField(max_length=80)
    made_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.name


class SignedIn(models.Model):
    """A browser that somebody is signed in on, so that they can see it and end it. `ended_at`: they
    signed out on it; it is kept a while, since what it signed before may still be on its way."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="signed_in")
    session_key = models.CharField(max_length=40, unique=True)
    on = models.CharField(max_length=10)
    address = models.CharField(max_length=45, blank=True)
    since = models.DateTimeField()
    seen_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-seen_at", "-id"]


class PasswordReset(models.Model):
    """That somebody asked for a new password; a mail with the link is sent soon after.

    The link itself is kept nowhere: it is made of what the user's row says when it is sent. `base`
    is the scheme and host that it leads to.
    """

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="resets")
    base = models.CharField(max_length=200)
    asked_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["asked_at"],
                condition=Q(sent_at__isnull=True),
                name="reset_waiting",
            ),
        ]


class AccountChange(InOrder):
    """That how somebody signs in, or where mail reaches them, was changed: a mail to the address
    that they had before says so soon after. The address is forgotten once it was sent."""

    class Kind(models.TextChoices):
        ADDRESS = "address"
        PASSWORD = "password"
        PIN = "pin"
        SIGN_IN = "sign-in"

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    address = models.EmailField(blank=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    by = models.ForeignKey(Person, null=True, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta(InOrder.Meta):
        indexes = [
            models.Index(fields=["id"], condition=Q(sent_at=None), name="account_change_not_sent")
        ]


class TryCount(models.Model):
    """How often something that guards an account was tried: `guard` names it, `who` is a hash of
    whose or whence, `until` (seconds of Unix time) is when counting starts anew."""

    guard = models.CharField(max_length=20)
    who = models.CharField(max_length=32)
    until = models.BigIntegerField(db_index=True)
    used = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["guard", "who"], name="try_count_once"),
        ]


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
