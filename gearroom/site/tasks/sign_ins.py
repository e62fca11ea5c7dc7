"""The sweep that sends mails about sign-ins."""

from __future__ import annotations

from celery import shared_task

from gearroom.core.services import tries
from gearroom.site import account_mail, reset_mail


@shared_task
def send_resets() -> None:
    """Send the links that were asked for, and what was changed; forget old counts of tries."""
    reset_mail.send_waiting()
    account_mail.send_waiting()
    tries.forget_old()
