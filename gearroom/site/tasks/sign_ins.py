"""The sweep that sends links for new passwords."""

from __future__ import annotations

from celery import shared_task

from gearroom.site import reset_mail


@shared_task
def send_resets() -> None:
    """Send the links that were asked for."""
    reset_mail.send_waiting()
