"""The sweep that reads calendars that trips come from."""

from celery import shared_task

from kits.services.calendars import reading


@shared_task
def read() -> None:
    """Read the calendar whose turn it is."""
    reading.read_due()
