"""Celery tasks of the pages; each asks the database what is due."""

from gearroom.site.tasks import sign_ins

__all__ = ["sign_ins"]
