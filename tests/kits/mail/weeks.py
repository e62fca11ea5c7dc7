"""The weekly email of the small school, as its tests read it."""

import email
from datetime import UTC, datetime
from email.policy import default
from typing import Any

from django.utils import timezone

from gearroom.core.models import Person
from kits.rules.mail.plain_text import as_text
from kits.services.mail import (
    digest_data,
    digest_text,
    digest_week,
)
from tests.kits.factories import World

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
