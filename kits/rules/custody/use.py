"""Where things went that are no longer in a kit, and which of them are expected back."""

import enum
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from kits.rules.ledger.facts import Kind


class Went(enum.StrEnum):
    """What became of units taken from a kit. Only `USED` is a need that the kit met."""

    USED = "used"
    IN_CLASS = "in-class"
    MAY_COME_BACK = "may-come-back"


def may_come_back(kind: Kind, *, sterile: bool) -> bool:
    """Whether a thing that went with a casualty can ever be of use again (a splint, a blanket):
    no medicine, and nothing sterile."""
    return kind is not Kind.MEDICINE and not sterile


@dataclass(frozen=True)
class Leaving:
    """Units of a batch that went away with a casualty from a kit, or (`units` < 0) came back or
    were written off. `kit` is None where nobody said from which."""

    kit: int | None
    lot: int
    units: int
    at: datetime


@dataclass(frozen=True)
class Away:
    """Units of a batch from a kit that may still come back, and since when."""

    kit: int
    lot: int
    units: int
    since: datetime


def away(moves: Iterable[Leaving], held: Mapping[int, int]) -> list[Away]:
    """Return what may still come back, kit by kit, the longest away first.

    `moves` are in the order in which they were written; `held` is how many units of each batch
    (by id) are on record as away in all. Where less is away than the kits' own moves come to,
    because some was taken elsewhere without a word of whose it was, those longest away are taken
    to be the ones that came.
    """
    totals: dict[tuple[int, int], Away] = {}
    for move in moves:
        if move.kit is None:
            continue
        key = (move.kit, move.lot)
        before = totals.get(key)
        units = (before.units if before else 0) + move.units
        since = before.since if before and before.units > 0 else move.at
        totals[key] = Away(move.kit, move.lot, units, since)
    rows = sorted(
        (row for row in totals.values() if row.units > 0), key=lambda r: (r.since, r.kit, r.lot)
    )
    over = {
        lot: sum(row.units for row in rows if row.lot == lot) - held.get(lot, 0)
        for lot in {row.lot for row in rows}
    }
    left = []
    for row in rows:
        gone = min(row.units, max(0, over[row.lot]))
        over[row.lot] -= gone
        left.append(replace(row, units=row.units - gone))
    return [row for row in left if row.units]
