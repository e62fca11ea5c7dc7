"""A kit that goes out and comes back in the evening, and acts of it that are undone."""

from typing import Any

from kits.models import (
    Entry,
    Kit,
    Trip,
)
from kits.services.custody import custody
from kits.services.ledger import audit, verdicts
from kits.services.ledger.undo import reversal
from kits.services.text import verdict_texts
from tests.kits import factories as make
from tests.kits.factories import act, fresh


def out(w: make.World, trip: Trip | None = None, kit: Any = None) -> Entry:
    return custody.check_out(act(w.keeper), kit or w.day_01, person=w.guide, trip=trip).entry


def back(w: make.World, kit: Kit | None = None, who: Any = None, **more: Any) -> custody.CheckIn:
    return custody.check_in(act(who or w.keeper), kit or w.day_01, **more)


def clean() -> bool:
    return list(audit.findings()) == []


def undo(w: make.World, entry: Entry, **more: Any) -> reversal.Reversed:
    return reversal.reverse(act(w.keeper), entry.pk, **more)


def undo_all(w: make.World, entry: Entry) -> reversal.Reversed:
    last = reversal.preview(act(w.keeper), entry.pk)[1].later
    return undo(w, entry, together=True, through=last[-1].pk if last else None)


def word(kit: Kit) -> str:
    return verdict_texts.verdict(verdicts.judged_one(fresh(kit)).verdict)
