"""The Celery application. Tasks carry ids only; the database is the truth of what is due."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gearroom.settings")

app = Celery("gearroom")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
