"""How long what is inside a kit lasts: the last days through which its minimums and its targets
are met, and those after which time alone may change what is judged of it."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from operator import attrgetter

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger.allocation import Allocation, Pool, entangled
from kits.rules.ledger.expiry import good_through, soonest, usable_until
from kits.rules.ledger.facts import Criticality, KitState, Line
from kits.rules.ledger.kit_contents import counted_lines, inside

Stock = dict[int, list[tuple[date, str, int]]]
"""Usable units by thing id: the last day they are usable through, their place, their count."""


@dataclass(frozen=True)
class Lasting:
    """The last days through which a kit's must-have lines, and all counted lines, have their
    minimum, and all have what they carry: `date.max` where nothing limits it, None for no day."""

    must_haves: date | None
    minimums: date | None
    targets: date | None


def lasting(kit: KitState) -> Lasting:
    """Return how long a kit's lines last.

    A line that shares none of its things with another is judged by its own units; those that do
    are tried together, by bisection over the days on which some unit's usefulness ends.
    """
    lines = counted_lines(kit)
    stock = grouped(
        (x.batch.thing.id, (until, x.place, x.count))
        for x in inside(kit)
        if not x.training and (until := usable_until(x.batch)) is not None
    )
    wanting = [line for line in lines if line.never_below > 0]
    must_haves = [line for line in wanting if line.criticality is Criticality.MUST_HAVE]
    vital = _last_all(
        must_haves, wanting, stock, Allocation.meet_minimums, attrgetter("never_below")
    )
    minimums = _last_all(
        wanting, wanting, stock, Allocation.meet_minimums, attrgetter("never_below")
    )
    targets = _last_all(lines, lines, stock, Allocation.meet_all, attrgetter("target"))
    return Lasting(vital, soonest([vital, minimums]), soonest([vital, minimums, targets]))


def last_days(kit: KitState) -> frozenset[date]:
    """Return the days after which a verdict of `kit` may be another, if nothing is done.

    They are the last good day of what is inside, the day a check is due, the last on which undated
    units may be there, the last of its list's signature, and the day by which it has to be
    checked. Between two of them, neither today nor the day that is judged changes a reason of it.
    """
    ends = [kit.undated_grace_until, kit.signed_until, kit.look_by]
    for units in inside(kit):
        ends += (units.batch.expiry, good_through(units.batch), units.batch.check_due)
    return frozenset(filter(None, ends))


def _last_all(
    lines: Sequence[Line],
    among: Sequence[Line],
    stock: Stock,
    meet: Callable[[Allocation], None],
    wanted: Callable[[Line], int],
) -> date | None:
    """The last day through which each of `lines`, competing with `among`, gets what is wanted."""
    shared = {line.id for line, tied in zip(among, entangled(among), strict=True) if tied}
    alone = [
        _enough_until(
            wanted(line), [row for thing in line.usable_things for row in stock.get(thing, ())]
        )
        for line in lines
        if line.id not in shared
    ]
    competing = [line for line in lines if line.id in shared]
    return soonest([*alone, _all_met_until(competing, stock, meet, wanted)])


def _enough_until(wanted: int, rows: list[tuple[date, str, int]]) -> date | None:
    for until, _, count in sorted(rows, reverse=True):
        wanted -= count
        if wanted <= 0:
            return until
    return None


def _all_met_until(
    lines: Sequence[Line],
    stock: Stock,
    meet: Callable[[Allocation], None],
    wanted: Callable[[Line], int],
) -> date | None:
    if not lines:
        return date.max
    things = {thing for line in lines for thing in line.usable_things}
    rows = [(thing, *row) for thing in sorted(things) for row in stock.get(thing, ())]

    def met(through: date) -> bool:
        supply: Counter[Pool] = Counter()
        for thing, until, place, count in rows:
            if until >= through:
                supply[thing, place] += count
        allocation = Allocation(lines)
        allocation.add(supply)
        meet(allocation)
        return all(allocation.got(i) >= wanted(line) for i, line in enumerate(lines))

    days = sorted({until for _, until, _, _ in rows} | {date.max})
    unmet = bisect_left(days, True, key=lambda day: not met(day))
    return days[unmet - 1] if unmet else None
