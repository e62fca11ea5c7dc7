"""Kits of small things to be judged."""

from datetime import date, timedelta
from typing import Any

from kits.rules.ledger.facts import (
    Batch,
    Kind,
    KitState,
    Line,
    Reason,
    Thing,
    Units,
    Verdict,
    Weight,
)
from kits.rules.ledger.readiness import fit_days
from tests.rules.kit_facts import TODAY

DAY = timedelta(days=1)
FAR = date(2031, 12, 31)
EYE_WASH = Thing(1, "eye wash", sterile=True)
GAUZE = Thing(2, "gauze swab", sterile=True)
TABLET = Thing(3, "tablet", kind=Kind.MEDICINE)
WIPE = Thing(4, "wipe")
TORCH = Thing(5, "torch", kind=Kind.INSTRUMENT, needs_date=False, check_question="Light on?")


def kit_of(*units: Units, lines: tuple[Line, ...] = (), **facts: Any) -> KitState:
    return KitState(1, "DAY-01", lines, units, looked_inside_on=TODAY, **facts)


def some(thing: Thing, count: int, *, place: str = "front", **facts: Any) -> Units:
    facts.setdefault("expiry", FAR if thing.needs_date else None)
    return Units(Batch(thing.id * 10, thing, **facts), place, count)


def codes(verdict: Verdict) -> list[tuple[str, Weight]]:
    return [(reason.code, reason.weight) for reason in verdict.reasons]


def worst(verdict: Verdict) -> int:
    return max((reason.weight for reason in verdict.reasons), default=0)


def days(kit: KitState, today: date) -> tuple[date | None, date | None, date | None]:
    now = fit_days(kit).on(today)
    return now.ready_until, now.fit_until, now.may_go_until


def only(verdict: Verdict, code: str) -> Reason:
    (reason,) = [reason for reason in verdict.reasons if reason.code == code]
    return reason
