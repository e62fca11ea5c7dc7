"""Sending notices: each is a row, claimed, sent once, and marked with when and as which message."""

from __future__ import annotations

from datetime import datetime
from email.utils import make_msgid

from django.core.mail import EmailMessage
from django.db import transaction

from gearroom.core import clock
from gearroom.core.models import Person
from kits.models import Notice
from kits.services import notices, weekly


def send_weekly(at: datetime) -> list[Notice]:
    """Send everybody their weekly email for the week of an instant; once a person and week."""
    sent = []
    for person in weekly.readers():
        zone = person.home_room.time_zone if person.home_room else "UTC"
        year, week, _ = clock.local_date(at, zone).isocalendar()
        fact = f"week:{year}-W{week:02}"
        notices.tell([person], "weekly", fact, room=person.home_room)
        notice = Notice.objects.get(person=person, kind="weekly", fact=fact)
        if notice.sent_at is None and _send(notice, person, at):
            sent.append(notice)
    return sent


def _send(notice: Notice, person: Person, at: datetime) -> bool:
    week = weekly.compose(person, at)
    message_id = notice.message_id or make_msgid(f"notice-{notice.pk}", "gearroom")
    # The row says under which Message-ID before the mail goes out, so that a mail sent again
    # after a crash carries the same one.
    Notice.objects.filter(pk=notice.pk).update(message_id=message_id)
    message = EmailMessage(
        subject=weekly.subject(week),
        body=weekly.text(week),
        to=[person.email],
        headers={"Message-ID": message_id, "Auto-Submitted": "auto-generated"},
    )
    message.send()
    with transaction.atomic():
        return bool(
            Notice.objects.filter(pk=notice.pk, sent_at__isnull=True).update(sent_at=clock.now())
        )
