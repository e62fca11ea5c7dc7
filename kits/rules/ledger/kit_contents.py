"""What is inside a kit: what counts, what has to come out, which line it belongs to, and how long
it lasts: the last days through which its minimums and its targets are met, and those after which
time alone may change what is judged of it."""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from operator import attrgetter

from gearroom.core.rules.grouping import grouped, summed
from kits.rules.ledger.allocation import Allocation, Pool, entangled
from kits.rules.ledger.expiry import (
    date_known,
    good_through,
    may_be_put_in,
    must_be_dated,
    soonest,
    usable_until,
    why_not,
)
from kits.rules.ledger.facts import Criticality, Kind, KitState, Level, Line, Replaced, Units
from kits.rules.ledger.reasons import ReasonCode


def inside(kit: KitState) -> list[Units]:
    """Return the units that go where the kit goes: not those of sections out on their own. What
    has to be dated and is not carries until when that is tolerated."""
    units = [x for x in kit.units if x.count > 0 and x.place not in kit.away]
    until = kit.undated_grace_until
    return units if until is None else [_let_be(x, until) for x in units]


def _let_be(units: Units, until: date) -> Units:
    batch = units.batch
    if date_known(batch) or not must_be_dated(batch) or batch.thing.kind is Kind.MEDICINE:
        return units
    return replace(units, batch=replace(batch, undated_until=until))


def counted_lines(kit: KitState) -> list[Line]:
    """Return the kit's lines that are counted, not judged by eye."""
    return [line for line in kit.lines if not line.thing.by_eye]


def why_not_counted(units: Units, through: date) -> ReasonCode | None:
    """Return why units inside a kit do not count through a day, or None if they do."""
    return ReasonCode.TRAINING_STOCK if units.training else why_not(units.batch, through)


def usable_supply(units: Iterable[Units], through: date) -> dict[Pool, int]:
    """Return how many of `units` are usable through `through`, by thing and place."""
    return supply(x for x in units if why_not_counted(x, through) is None)


def supply(units: Iterable[Units]) -> dict[Pool, int]:
    """Return how many `units` there are, by thing and place."""
    return +summed(((x.batch.thing.id, x.place), max(x.count, 0)) for x in units)


def must_come_out(kit: KitState, units: Units, today: date) -> ReasonCode | None:
    """Return why units that are inside `kit` may not stay there when it goes, or None if they
    may. It is the rule of `may_be_put_in`, except that a medicine only needs a line that
    wants it: whether the list is signed is one reason for the whole kit."""
    medicine = units.batch.thing.kind is Kind.MEDICINE
    return may_be_put_in(
        units.batch,
        today,
        list_signed=not medicine or home_line(kit, units) is not None,
        training_stock=units.training and not kit.training,
        training_kit=kit.training,
    )


def with_companions(lines: Sequence[Line]) -> tuple[Line, ...]:
    """Return the lines of a list with what goes with a must-have thing of it (spare batteries with
    their torch) at least important, and never below one: without any the thing may not work."""
    needed = {line.thing.id for line in lines if line.criticality is Criticality.MUST_HAVE}
    return tuple(
        replace(
            line,
            never_below=max(line.never_below, 1),
            criticality=Criticality.IMPORTANT
            if line.criticality is Criticality.ROUTINE
            else line.criticality,
        )
        if line.thing.goes_with in needed
        else line
        for line in lines
    )


def home_line(kit: KitState, units: Units) -> Line | None:
    """Return the line that units inside belong to: one for the thing itself in their section,
    else anywhere, else one that can use it instead, its own section first; None if no line wants
    the thing."""
    thing = units.batch.thing.id
    return min(
        (line for line in kit.lines if thing in line.usable_things),
        key=lambda line: (line.thing.id != thing, line.section != units.place),
        default=None,
    )


def level_of(kit: KitState, line: Line) -> Level | None:
    """Return the level of a line that is judged by eye: of its thing, else of what that replaces;
    None where neither is known."""
    things = (line.thing.id, *(old.id for old in line.replaces))
    levels = (kit.levels.get((line.section, thing)) for thing in things)
    return next((level for level in levels if level is not None), None)


@dataclass(frozen=True)
class OldStock:
    """What a line replaced and a kit still has in place of the new thing."""

    line: Line
    old: Replaced


def old_stock(kit: KitState) -> list[OldStock]:
    """Return what `kit` still has of things that its list has replaced, where it has less of the
    new thing than the line asks for."""
    if not any(line.replaces for line in kit.lines):
        return []
    units = [(home.id, x) for x in inside(kit) if (home := home_line(kit, x)) is not None]
    held = summed(((line, x.batch.thing.id), x.count) for line, x in units)

    def has(line: Line, thing: int) -> bool:
        if line.thing.by_eye:
            return kit.levels.get((line.section, thing)) in (Level.FULL, Level.LOW)
        return held[line.id, thing] > 0

    return [
        OldStock(line, old)
        for line in kit.lines
        for old in line.replaces
        if has(line, old.id) and not _has_new(kit, line, held[line.id, line.thing.id])
    ]


def has_new(kit: KitState, line: Line) -> bool:
    """Return whether a line has all that it carries of its own thing."""
    units = (x for x in inside(kit) if x.batch.thing.id == line.thing.id)
    return _has_new(kit, line, sum(x.count for x in units if home_line(kit, x) == line))


def _has_new(kit: KitState, line: Line, count: int) -> bool:
    if line.thing.by_eye:
        return kit.levels.get((line.section, line.thing.id)) is not None
    return count >= line.target


def lots(faults: Iterable[tuple[Units, ReasonCode]]) -> tuple[dict[str, object], ...]:
    """Return unusable units as facts for a sentence, a dict for each batch and fault: `batch` id,
    `lot` number, `count`, `fault`, and `date`, the last day it was or is good (an instrument's
    check: the day it is due), None where there is none."""
    faults = list(faults)
    batches = {x.batch.id: x.batch for x, _fault in faults}
    counts = summed(((x.batch.id, fault), x.count) for x, fault in faults)
    return tuple(
        {
            "batch": batch_id,
            "lot": batches[batch_id].number,
            "count": count,
            "fault": fault,
            "date": (
                batches[batch_id].check_due
                if fault is ReasonCode.CHECK_DUE
                else good_through(batches[batch_id])
            ),
        }
        for (batch_id, fault), count in sorted(counts.items())
    )


# ------------------------------------------------------------------------------ how long it lasts
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
    units may be there, the last of its list's signature, the day by which it has to be
    checked, and the one by which it has what its list put in place of something else.
    Between two of them, neither today nor the day that is judged changes a reason of it.
    """
    ends = [kit.undated_grace_until, kit.signed_until, kit.look_by]
    ends += (each.old.until for each in old_stock(kit))
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
        usable = (((row[0], row[2]), row[3]) for row in rows if row[1] >= through)
        allocation = Allocation(lines)
        allocation.add(summed(usable))
        meet(allocation)
        return all(allocation.got(i) >= wanted(line) for i, line in enumerate(lines))

    days = sorted({until for _, until, _, _ in rows} | {date.max})
    unmet = bisect_left(days, True, key=lambda day: not met(day))
    return days[unmet - 1] if unmet else None
