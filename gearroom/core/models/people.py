"""Users sign in, people have kits. A person needs no user; a user always has a person."""

import zoneinfo
from datetime import time
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import AbstractUser
from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models, transaction
from django.db.models import Q
from django.db.models.functions import Lower

from gearroom.core.rules.roles import Role


def valid_time_zone(name: str) -> None:
    """Refuse a name that is not in the IANA time zone database."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(f"{name} is not an IANA time zone, such as Europe/London.")


MOST_SORTING_NIGHTS = 14
"""How many nights a room may give itself to sort a kit."""


class User(AbstractUser):
    """A sign-in. Names live on the person, which every user has from its first save on.

    Set `user.person` before that save to give a sign-in to somebody known; otherwise a person of
    the user's name is made. A superuser's person is made an administrator everywhere. `given_by` is
    who gave the sign-in its last generated password.
    """

    first_name = None  # type: ignore[assignment]  # the person carries the name
    last_name = None  # type: ignore[assignment]  # the person carries the name
    REQUIRED_FIELDS = []
    given_by = models.ForeignKey(
        "core.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(AbstractUser.Meta):
        constraints = [models.UniqueConstraint(Lower("username"), name="user_name_once")]

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Save, and see to it that a person is there."""
        adding = self._state.adding
        with transaction.atomic(using=kwargs.get("using")):
            super().save(*args, **kwargs)
            if not adding:
                return
            person = self._state.fields_cache.get("person") or Person(
                name=self.username, email=self.email
            )
            person.user = self
            person.save()
            if self.is_superuser:
                Membership.objects.get_or_create(
                    person=person, room=None, role=Role.ADMINISTRATOR.value
                )


class Room(models.Model):
    """A gear room: shelves, keepers and a time zone, and how strict it is.

    `closing_time` is when a kit taken without a trip is due; `sorting_nights` how many nights lie
    at least between a kit's return and its next trip. `guides_decide_important`: a guide, not only
    a keeper or instructor, may let a kit go that is short on an important line.
    `expired_always_stops`: anything out of date inside stops a kit, whatever it is.
    `opening_pays_from`: a sealed kit is opened only to exchange batches where that saves as much
    money, in the currency that stock is bought in.
    """

    name = models.CharField(max_length=80, unique=True)
    slug = models.SlugField(max_length=40, unique=True)
    time_zone = models.CharField(
        max_length=64, default="Europe/London", validators=[valid_time_zone]
    )
    how_to_return = models.CharField(max_length=300, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    closing_time = models.TimeField(default=time(18, 0))
    sorting_nights = models.PositiveSmallIntegerField(default=1)
    guides_decide_important = models.BooleanField(default=False)
    expired_always_stops = models.BooleanField(default=False)
    opening_pays_from = models.DecimalField(
        max_digits=12, decimal_places=2, default=Decimal(7), validators=[MinValueValidator(0)]
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Person(models.Model):
    """Anyone who can have a kit. Of the PIN for shared devices only a slow hash is kept. Without a
    `language` pages speak the browser's, and mails the organisation's. `merged_into`: somebody was
    on record twice, and this is the record that is kept no more; what was written under it stays,
    and it bears the other's name. `erased_at`: what told of them was erased; the number stays, and
    the name is *Person* and the number. `shows_all`: though they work alone, pages are to leave
    nothing out."""

    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    language = models.CharField(max_length=10, blank=True, default="")
    user = models.OneToOneField(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="person"
    )
    home_room = models.ForeignKey(
        Room, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    left_on = models.DateField(null=True, blank=True)
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="merged"
    )
    pin = models.CharField(max_length=128, blank=True)
    shows_all = models.BooleanField(default=False)
    erased_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name

    @property
    def reads(self) -> str:
        """The language to write to them in."""
        from gearroom.core.models.installation import current  # which has people

        return self.language or current().language


class Membership(models.Model):
    """What a person is in a room; without a room, everywhere."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="memberships")
    room = models.ForeignKey(
        Room, null=True, blank=True, on_delete=models.CASCADE, related_name="memberships"
    )
    role = models.CharField(max_length=20, choices=[(r.value, r.value) for r in Role])

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "room", "role"],
                condition=Q(room__isnull=False),
                name="membership_once_in_a_room",
            ),
            models.UniqueConstraint(
                fields=["person", "role"],
                condition=Q(room__isnull=True),
                name="membership_once_everywhere",
            ),
            models.CheckConstraint(
                condition=Q(role__in=[r.value for r in Role]), name="membership_role_known"
            ),
        ]
