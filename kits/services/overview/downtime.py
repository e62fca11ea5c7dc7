"""When this computer was off, as a laptop that slept is, and what was sent once it was on again.

The sweep that looks for what is due comes every minute (`kits.tasks.notices`), and notes that it
came: from one pause to the next that is one run. What became due in a pause it finds in the
database like anything else, so there is nothing to catch up but the sweeps themselves.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q

from kits.models import Notice, ServiceRun

PAUSE = timedelta(minutes=15)
"""From how long on nobody looked before it is said that the computer was off: an update or a
restart takes less."""
_CATCHES_UP = timedelta(minutes=15)
_SHOWN = timedelta(hours=24)


@dataclass(frozen=True)
class Downtime:
    """From when until when nobody looked for what is due; how many notices were sent since then to
    catch up, and how many of them are not sent yet."""

    began: datetime
    ended: datetime
    sent: int
    waiting: int


def note_look(now: datetime) -> bool:
    """Note that somebody looks for what is due; whether nobody did before for longer than PAUSE."""
    run = ServiceRun.objects.first()
    if run is None or now - run.looked_at > PAUSE:
        ServiceRun.objects.create(began_at=now, looked_at=now)
        return run is not None
    ServiceRun.objects.filter(pk=run.pk, looked_at__lt=now).update(looked_at=now)
    return False


def last(now: datetime) -> Downtime | None:
    """The pause that ended within a day, if any."""
    runs = list(ServiceRun.objects.all()[:2])
    if len(runs) < 2:
        return None
    run, before = runs
    if run.began_at - before.looked_at <= PAUSE or not now - _SHOWN < run.began_at <= now:
        return None
    of_it = Q(due_at__lte=run.began_at) | Q(created_at__lte=run.began_at + _CATCHES_UP)
    caught_up = Notice.objects.filter(of_it)
    return Downtime(
        began=before.looked_at,
        ended=run.began_at,
        sent=caught_up.filter(
            sent_at__gte=run.began_at, sent_at__lte=run.began_at + _CATCHES_UP
        ).count(),
        waiting=caught_up.unsent().filter(due_at__lte=now, unsent_why="").count(),
    )
