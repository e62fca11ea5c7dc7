"""The sweep that announces what changed by itself."""

from celery import shared_task

from kits.services import announcing


@shared_task
def announce() -> None:
    """Write events of what is otherwise than it was last announced."""
    announcing.announce()
