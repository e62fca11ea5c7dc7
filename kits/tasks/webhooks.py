"""The sweep that has events sent to other programs."""

from celery import shared_task

from kits.services.webhooks import sending, threads


@shared_task
def send() -> None:
    """Have sent what is due; forget what was sent long ago."""
    threads.start_due()
    sending.forget_old()
