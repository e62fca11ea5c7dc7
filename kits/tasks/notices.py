"""Sweeps that find from the database whom to tell what, and send what is due."""

from celery import shared_task

from gearroom.core import clock
from kits.services.lists import signatures
from kits.services.mail import alarms, sending
from kits.services.mail.digest import digest
from kits.services.overview import downtime


@shared_task
def look() -> None:
    """Write down what has come to be told: weekly emails due, kits not back or not fit, recalls
    that nobody answered, signatures that end; and, where this computer was off, what else there was
    to look at meanwhile."""
    now = clock.now()
    if downtime.note_look(now):
        alarms.look_at_stock(now)
    digest.write(now)
    alarms.look(now)
    signatures.look()


@shared_task
def look_at_stock() -> None:
    """Open and close episodes of low stock."""
    alarms.look_at_stock(clock.now())


@shared_task
def send() -> None:
    """Send what is due."""
    sending.send_due()
