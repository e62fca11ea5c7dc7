"""The sweep that announces what is otherwise than it was last announced, each change once.

One sweep runs at a time. It reads everything as of one instant, so that what an act changes in
several rows is never seen by half, and writes an event only where the word is another than the one
that was last announced. What changed and changed back between two sweeps is not announced. A
program that was off announces what is so now.
"""

import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta
from hashlib import sha256

from django.db import transaction

from gearroom.core import clock
from gearroom.core.acts.key_locks import KeyLocked, locked
from gearroom.core.acts.snapshot import snapshot
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Announced, Entry, Item, OrderFact, PackingListVersion, RoomOrderLevel
from kits.rules.events.changes import changed
from kits.services.announcing.words import Word, kits, overdue, stock, trips
from kits.services.events import write

_ONE_AT_A_TIME = uuid.UUID("b3f7f0f2-5d2b-4d0e-8a53-7a0f4f0a6a51")
ANYWAY = timedelta(minutes=5)
"""So often everything is judged although nobody did anything: for what a new day, a time that has
passed or a setting that is not among these changes."""
_APPENDED = (Entry, RoomOrderLevel, OrderFact)
_SETTINGS = (
    Room.objects.values_list(),
    Item.objects.values_list("pk", "revision"),
    PackingListVersion.objects.values_list("pk", "published_at", "signed_on", "signed_until"),
)
_LAST = "sweep"


def announce() -> int:
    """Announce what is otherwise now; how many events that are. None while another does."""
    try:
        with locked(_ONE_AT_A_TIME):
            return _announce(clock.now())
    except KeyLocked:
        return 0


def _announce(now: datetime) -> int:
    with snapshot():
        words = list(overdue(now))
        # What is overdue is a matter of minutes and of one statement; the rest takes longer.
        stamp = _stamp(now)
        if not Announced.objects.filter(kind=_LAST, word=stamp).exists():
            words += [*kits(now), *trips(now), *stock(now), Word(_LAST, "", stamp)]
    with transaction.atomic():
        return _write(words)


def _stamp(now: datetime) -> str:
    """The same as long as there is nothing to judge anew."""
    last = [table.objects.order_by("-id").values_list("id").first() for table in _APPENDED]
    settings = [list(rows.order_by("pk")) for rows in _SETTINGS]
    turn = now.timestamp() // ANYWAY.total_seconds()
    return sha256(repr((last, settings, turn)).encode()).hexdigest()


def _write(words: Iterable[Word]) -> int:
    new = [
        (word, before)
        for kind, of_kind in grouped((word.kind, word) for word in words).items()
        for word, before in changed(of_kind, _announced(kind, of_kind))
    ]
    drafts = [word.draft(before) for word, before in new if word.draft is not None]
    write(drafts)
    Announced.objects.bulk_create(
        [Announced(kind=word.kind, subject=word.subject, word=word.word) for word, _ in new],
        update_conflicts=True,
        unique_fields=["kind", "subject"],
        update_fields=["word"],
        batch_size=1000,
    )
    return len(drafts)


def _announced(kind: str, of: Iterable[Word]) -> dict[str, str]:
    subjects = [word.subject for word in of]
    rows = Announced.objects.filter(kind=kind, subject__in=subjects)
    return dict(rows.values_list("subject", "word"))
