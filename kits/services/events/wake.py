"""Having events sent as soon as they are there, not with the next sweep only."""

from celery import current_app
from django.db import transaction

from kits.models import Webhook

TASK = "kits.tasks.webhooks.send"


def wake() -> None:
    """Have the worker look what is to be sent once this transaction is done. Where that fails, the
    next sweep looks."""
    transaction.on_commit(_queue, robust=True)


def _queue() -> None:
    if Webhook.objects.exists():
        current_app.send_task(TASK, expires=30, retry=False)
