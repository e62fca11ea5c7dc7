"""What a kit still lacks, or may not keep, when somebody is about to seal it."""

import enum
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.grouping import summed
from kits.rules.ledger import (
    OF_LINES,
    KitState,
    Level,
    ReasonCode,
    Thing,
    Verdict,
    inside,
    judge,
    must_come_out,
)


class Lack(enum.StrEnum):
    """What is not as it should be."""

    NOT_REPLACED = "not-replaced"  # fewer than the list carries
    NOT_FULL = "not-full"  # judged by eye: low, empty or not known
    COMES_OUT = "comes-out"  # inside, and may not stay there


@dataclass(frozen=True)
class NotReplaced:
    """One thing in one section, and how many units of it: of what nobody counts, 1. `level` is
    how full that is; None where it is counted, or nobody looked."""

    thing: Thing
    section: str
    count: int
    lack: Lack
    level: Level | None = None


def not_replaced(kit: KitState, today: date, section: str | None) -> list[NotReplaced]:
    """Return what is not replaced in a kit (with `section`, in that section), in the order of its
    list, then what must come out. Nothing where nobody entered its contents. It is what the
    verdict for today says of its lines, so that a seal asks for nothing else than that does."""
    if not kit.contents_entered:
        return []
    rows = [*_lacking(kit, today), *_coming_out(kit, today)]
    return [row for row in rows if section is None or row.section == section]


def lacks(verdict: Verdict) -> bool:
    """Whether a verdict says that something is not replaced or must come out: whoever checked the
    kit then confirms the record, not *all there*."""
    return any(reason.code in OF_LINES | _OUT for reason in verdict.reasons)


def _lacking(kit: KitState, today: date) -> Iterable[NotReplaced]:
    reasons = {r.facts["line"]: r for r in judge(kit, today, today).reasons if r.code in OF_LINES}
    for line in kit.lines:
        reason = reasons.get(line.id)
        if reason is None or line.section in kit.away:
            continue
        if line.thing.by_eye:
            yield NotReplaced(
                line.thing,
                line.section,
                1,
                Lack.NOT_FULL,
                kit.levels.get((line.section, line.thing.id)),
            )
        else:
            count = int(str(reason.facts["shortfall"]))
            yield NotReplaced(line.thing, line.section, count, Lack.NOT_REPLACED)


_OUT = frozenset({ReasonCode.TAKE_OUT, ReasonCode.EXPIRED_INSIDE})


def _coming_out(kit: KitState, today: date) -> Iterable[NotReplaced]:
    counts = summed(
        ((x.place, x.batch.thing), x.count)
        for x in inside(kit)
        if must_come_out(kit, x, today) is not None
    )
    return (
        NotReplaced(thing, section, count, Lack.COMES_OUT)
        for (section, thing), count in counts.items()
    )
