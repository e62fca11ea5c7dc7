"""Gearroom: settings, URLs, the Celery app and WSGI; `core` is plumbing, `site` is composition."""

from gearroom.celery import app as celery_app

__all__ = ["celery_app"]
