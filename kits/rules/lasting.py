"""How long what is inside a kit lasts: the last day through which its minimums are met."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from kits.rules.allocation import Allocation, Pool, entangled
from kits.rules.expiry import usable_until
from kits.rules.facts import Criticality, KitState, Line
from kits.rules.inside import counted_lines, inside

Stock = dict[int, list[tuple[date, str, int]]]
"""Usable units by thing id: the last day they are usable through, their place, their count."""


def minimums_until(kit: KitState) -> tuple[date | None, date | None]:
    """Return the last days through which the must-have lines, and all counted lines, have their
    *never below*: `date.max` where nothing limits it, None where they have not on any day.

    A line that shares none of its things with another is told from its own units; those that do
    are tried together, by bisection over the days on which some unit's usefulness ends.
    """
    lines = [line for line in counted_lines(kit) if line.never_below > 0]
    stock: Stock = {}
    for x in inside(kit):
        until = None if x.training else usable_until(x.batch)
        if until is not None:
            stock.setdefault(x.batch.thing.id, []).append((until, x.place, x.count))
    shared = entangled(lines)
    alone: dict[bool, list[date | None]] = {True: [], False: []}
    competing: list[Line] = []
    for line, among_others in zip(lines, shared, strict=True):
        if among_others:
            competing.append(line)
        else:
            rows = [row for thing in _usable_things(line) for row in stock.get(thing, ())]
            must_have = line.criticality is Criticality.MUST_HAVE
            alone[must_have].append(_enough_until(line.never_below, rows))
    must_have_competing = [x for x in competing if x.criticality is Criticality.MUST_HAVE]
    must_haves = soonest([*alone[True], _all_met_until(must_have_competing, stock)])
    return must_haves, soonest([must_haves, *alone[False], _all_met_until(competing, stock)])


def _usable_things(line: Line) -> set[int]:
    return {line.thing.id, *line.instead}


def _enough_until(wanted: int, rows: list[tuple[date, str, int]]) -> date | None:
    for until, _, count in sorted(rows, reverse=True):
        wanted -= count
        if wanted <= 0:
            return until
    return None


def _all_met_until(lines: Sequence[Line], stock: Stock) -> date | None:
    if not lines:
        return date.max
    things = {thing for line in lines for thing in _usable_things(line)}
    rows = [(thing, *row) for thing in sorted(things) for row in stock.get(thing, ())]

    def met(through: date) -> bool:
        supply: dict[Pool, int] = {}
        for thing, until, place, count in rows:
            if until >= through:
                supply[thing, place] = supply.get((thing, place), 0) + count
        allocation = Allocation(lines)
        allocation.add(supply)
        allocation.meet_minimums()
        return all(allocation.got(i) >= line.never_below for i, line in enumerate(lines))

    days = sorted({until for _, until, _, _ in rows} | {date.max})
    low, high = 0, len(days)  # met through all before low, not through high and after
    while low < high:
        middle = (low + high) // 2
        if met(days[middle]):
            low = middle + 1
        else:
            high = middle
    return days[low - 1] if low else None


def soonest(days: Iterable[date | None]) -> date | None:
    """Return the soonest of `days`, or None if one of them is; `date.max` of none."""
    soonest = date.max
    for day in days:
        if day is None:
            return None
        soonest = min(soonest, day)
    return soonest
