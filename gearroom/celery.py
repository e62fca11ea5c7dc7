"""The Celery application. Tasks carry ids only; the database is the truth of what is due."""

import os
import warnings

from celery import Celery
from celery.exceptions import SecurityWarning
from celery.signals import beat_init
from kombu.transport import TRANSPORT_ALIASES

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gearroom.settings")
TRANSPORT_ALIASES["filesystem"] = "gearroom.core.setup.folder_broker:Transport"

# Whoever starts it knows as whom. Tasks are ids in JSON: what is dangerous as root is pickle.
warnings.filterwarnings("ignore", category=SecurityWarning)

app = Celery("gearroom")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

# The scheduler only names tasks: it loads neither them nor Django's apps.
scheduler = Celery("gearroom", fixups=(), set_as_current=False)
scheduler.config_from_object("django.conf:settings", namespace="CELERY")


@beat_init.connect  # type: ignore[untyped-decorator]  # celery has no types
def look_at_once(**_signal: object) -> None:
    """Have every sweep come as soon as the program starts, not an interval later: on a laptop that
    was off all night whoever opens it is to find what became due."""
    for entry in scheduler.conf.beat_schedule.values():
        scheduler.send_task(entry["task"], **entry["options"])
