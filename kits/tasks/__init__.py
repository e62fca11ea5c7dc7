"""Celery tasks; each asks the database what is due, so a lost message loses nothing."""

from kits.tasks import calendars, events, notices, webhooks

__all__ = ["calendars", "events", "notices", "webhooks"]
