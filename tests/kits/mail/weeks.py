"""The weekly email of the small school, as its tests read it."""

import email
from datetime import UTC, datetime, timedelta
from email.policy import default
from typing import Any

from django.utils import timezone

from gearroom.core.models import Person
from kits.models import Item, Kit, Trip
from kits.rules.mail.plain_text import as_text
from kits.services.custody import use
from kits.services.mail.digest import digest_data, digest_text, digest_week
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import World, act

MONDAY = datetime(2027, 1, 4, 7, tzinfo=UTC)


def mails(outbox: Any) -> list[Any]:
    return [
        email.message_from_bytes(path.read_bytes(), policy=default)
        for path in sorted(outbox.glob("*.eml"))
    ]


def week_of(w: World, at: datetime | None = None) -> digest_week.Week:
    person = Person.objects.select_related("home_room").get(pk=w.instructor.pk)
    return digest_data.gather([person], at or timezone.now())[person.pk]


def text_of(w: World, at: datetime | None = None) -> str:
    return as_text(digest_text.letter(week_of(w, at)))


def said(text: str) -> str:
    return " ".join(text.split())


def used(w: World, item: Item, units: int, kit: Kit | None = None) -> None:
    use.log_use(act(w.guide), make.fresh(kit or w.day_01), [use.UseLine(item=item, units=units)])


def reserved(w: World, kit: Kit, ahead: int, **more: int) -> Trip:
    """A kit reserved for a trip of one day, so many days from now."""
    trip = make.trip("Hill day", w.store, last=40, **more)  # its days follow
    at = timezone.now() + timedelta(days=ahead)
    day = at.date()
    trip.departs_at, trip.returns_at = at, at + timedelta(hours=9)
    trip.first_day = trip.last_day = day
    trip.save()
    reservations.reserve(act(w.keeper), kit, trip)
    return trip
