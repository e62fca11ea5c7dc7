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


def minimums_until(kit: KitState, ranks: Sequence[Criticality]) -> date | None:
    """Return the last day through which every counted line of `ranks` has its *never below*:
    `date.max` where nothing limits it, None where it has not on any day.

    A line that shares none of its things with another is told from its own units; those that do
    are tried together, by bisection over the days on which some unit's usefulness ends.
    """
    lines = counted_lines(kit)
    stock: Stock = {}
    for x in inside(kit):
        until = None if x.training else usable_until(x.batch)
        if until is not None:
            stock.setdefault(x.batch.thing.id, []).append((until, x.place, x.count))
    shared = entangled(lines)
    days = [
        _enough_until(
            line.never_below, (x for thing in _usable_things(line) for x in stock.get(thing, ()))
        )
        for line, among_others in zip(lines, shared, strict=True)
        if not among_others and line.criticality in ranks
    ]
    competing = [
        line
        for line, among_others in zip(lines, shared, strict=True)
        if among_others and line.criticality in ranks
    ]
    if competing:
        days.append(_all_met_until(competing, stock, ranks))
    return soonest(days)


def _usable_things(line: Line) -> set[int]:
    return {line.thing.id, *line.instead}


def _enough_until(wanted: int, stock: Iterable[tuple[date, str, int]]) -> date | None:
    if wanted <= 0:
        return date.max
    for until, _, count in sorted(stock, reverse=True):
        wanted -= count
        if wanted <= 0:
            return until
    return None


def _all_met_until(
    lines: Sequence[Line], stock: Stock, ranks: Sequence[Criticality]
) -> date | None:
    things = {thing for line in lines for thing in _usable_things(line)}
    rows = [(thing, *row) for thing in things for row in stock.get(thing, ())]

    def met(through: date) -> bool:
        supply: dict[Pool, int] = {}
        for thing, until, place, count in rows:
            if until >= through:
                supply[thing, place] = supply.get((thing, place), 0) + count
        allocation = Allocation(lines)
        allocation.add(supply)
        allocation.meet_minimums(ranks)
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
