"""The sweep that sends mails about sign-ins."""

from celery import shared_task

from gearroom.core.services.accounts import attempts
from gearroom.site.mail import account_mail


@shared_task
def send_resets() -> None:
    """Send the links that were asked for, and what was changed; forget old counts of tries."""
    account_mail.send_resets()
    account_mail.send_changes()
    attempts.forget_old()
