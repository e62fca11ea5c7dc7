"""What to take from which shelf: first expired, first out, among what is good for long enough.

A restock list is worked out as if the kit and the shelf were one supply (see `allocation`), with
what is inside the kit already given out first: so the kit gets as fit as that shelf can make it,
with no more put in than that takes. Of what a line needs, its own thing goes in before what will
do instead, and of a thing the batch that goes out of date first, a known date before one that is
not known, then by shelf and batch id. Of a document only
its current edition goes in.

What a list has replaced is used up first: it stays inside while it is good, and the new thing goes
in as it runs out. A kit that is to last past the day by which all have the new thing gets all of it
and gives back the old, when somebody opens it.
"""

import enum
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from gearroom.core.rules.grouping import grouped, summed
from kits.rules.ledger import (
    BY_RANK,
    OUT_OF_DATE,
    Allocation,
    Batch,
    Kind,
    KitState,
    Level,
    Line,
    ReasonCode,
    Thing,
    Units,
    counted_lines,
    date_known,
    good_through,
    home_line,
    inside,
    may_be_put_in,
    must_come_out,
    supply,
    usable_supply,
    usable_through,
    why_not_counted,
)
from kits.rules.ledger.allocation import Pool
from kits.rules.ledger.weather import may_be_kept
from kits.rules.stock.editions import Edition, current

READY_FOR_DAYS = 28
"""How long a restocked kit should last where no trip sets a day, so that it stays sealed."""


class Swap(enum.StrEnum):
    """Why units come out of a kit that might stay: the same line gets better ones."""

    ENDS_TOO_SOON = "ends-too-soon"
    CHECK_NEEDED = "check-needed"
    REPLACED = "replaced"


@dataclass(frozen=True)
class PutIn:
    """Units to put into a section for a line; `instead_of` is the line's own thing when another
    will do instead, else None."""

    line: Line
    section: str
    batch: Batch
    shelf: str
    count: int
    instead_of: Thing | None = None

    @property
    def thing(self) -> Thing:
        """What to put in."""
        return self.batch.thing


@dataclass(frozen=True)
class TakeOut:
    """Units to take out of a section. `why` is a `ReasonCode` for what may not stay; a `Swap` for
    what is still good and goes back to its shelf once its replacement is in. `training` as of
    the units: set aside for training."""

    batch: Batch
    section: str
    count: int
    why: ReasonCode | Swap
    training: bool = False


@dataclass(frozen=True)
class FillUp:
    """A line judged by eye that wants filling up: from which batch, on which shelf, or from none
    that is in stock. `level` None: not known."""

    line: Line
    section: str
    level: Level | None
    batch: Batch | None
    shelf: str | None

    @property
    def thing(self) -> Thing:
        """What to fill up with."""
        return self.line.thing


@dataclass(frozen=True)
class Missing:
    """What a line still wants when all is put in: `count` units to its *carry*, and whether it
    stays below its *never below*. Of lines of one rank that want the same thing, any may be the
    one named."""

    line: Line
    count: int
    below_minimum: bool

    @property
    def thing(self) -> Thing:
        """What is not in stock."""
        return self.line.thing


@dataclass(frozen=True)
class RestockList:
    """What to do to a kit, in the order of doing: out, in, by eye; what is not in stock; and what
    is wanted, but may not be there now for the weather where the kit is kept."""

    take_out: tuple[TakeOut, ...] = ()
    put_in: tuple[PutIn, ...] = ()
    fill_up: tuple[FillUp, ...] = ()
    missing: tuple[Missing, ...] = ()
    not_now: tuple[Missing, ...] = ()


def first_out(batch: Batch, shelf: str) -> tuple[date, bool, str, int]:
    """Return the sort key of first expired, first out."""
    return good_through(batch) or date.max, not date_known(batch), shelf, batch.id


def restock(kit: KitState, shelf_units: Sequence[Units], through: date, today: date) -> RestockList:
    """Return what makes `kit` as fit through `through` as the shelf can make it.

    `shelf_units` are what may be taken, whatever its state; what may not go into a kit today, or
    does not last through `through`, is passed over, and so are medicines when the kit's list is
    not signed today, and what would soon have to leave again for the weather. Sections that are
    out on their own get nothing. The list holds for the kit and the shelf as given: follow it
    whole, or ask again.

    A training kit gets what was set aside for training first, then what goes out of date first on
    shelves, out of date or not, but nothing that no class uses.
    """
    if kit.training:
        return _for_class(kit, shelf_units, today)
    signed = kit.signed and (kit.signed_until is None or kit.signed_until >= today)
    may_be_there = [x for x in shelf_units if may_be_kept(kit, x.batch.thing, today)]
    stock = _in_order(may_be_there, through, today, signed)
    lines = [line for line in counted_lines(kit) if line.section not in kit.away]
    old = _replaced_by(lines, through)
    out = [(x, must_come_out(kit, x, today)) for x in inside(kit)]
    staying = [x for x, fault in out if fault is None]
    allocation = Allocation(lines)
    for there in _supplies(usable_supply(staying, through), stock, old):
        allocation.add(there)
        allocation.meet_all()
    put_in = _put_in(allocation, stock)
    take_out = [
        TakeOut(x.batch, x.place, x.count, why, x.training) for x, why in out if why is not None
    ]
    wanting = [
        Missing(line, wanted, below_minimum=allocation.got(i) < line.never_below)
        for i, line in enumerate(lines)
        if (wanted := line.target - allocation.got(i) + _of_old(allocation, i, old)) > 0
    ]
    return RestockList(
        take_out=(
            *take_out,
            *_swapped(kit, staying, put_in, through),
            *_made_way(kit, staying, put_in, through, allocation, old),
        ),
        put_in=tuple(put_in),
        fill_up=tuple(row for row in _fill_up(kit, stock) if may_be_kept(kit, row.thing, today)),
        missing=tuple(row for row in wanting if may_be_kept(kit, row.thing, today)),
        not_now=tuple(row for row in wanting if not may_be_kept(kit, row.thing, today)),
    )


_SHELF = "\uffff"
"""All shelves as one place, sorted after every section."""
_TRAINING_BOX = "\ufffe"
"""What was set aside for training, as one place, before shelves."""

Stock = dict[int, list[Units]]
"""What may be picked, by thing id, first expired first."""


def _for_class(kit: KitState, units: Sequence[Units], today: date) -> RestockList:
    """What makes a training kit whole for a class."""
    usable = [
        x
        for x in units
        if x.count > 0
        and x.batch.thing.for_class
        and may_be_put_in(x.batch, today, training_kit=True) is None
    ]
    stock = {
        thing: sorted(rows, key=lambda x: (not x.training, *first_out(x.batch, x.place)))
        for thing, rows in grouped((x.batch.thing.id, x) for x in usable).items()
    }
    in_class = [ln for ln in kit.lines if ln.thing.for_class and ln.section not in kit.away]
    lines = [line for line in in_class if not line.thing.by_eye]
    out = [(x, must_come_out(kit, x, today)) for x in inside(kit)]
    allocation = Allocation(lines)
    for there in (
        supply(x for x, fault in out if fault is None),
        *(
            summed(((x.batch.thing.id, place), x.count) for x in usable if x.training is training)
            for training, place in ((True, _TRAINING_BOX), (False, _SHELF))
        ),
    ):
        allocation.add(there)
        allocation.meet_all()
    wanting = ((line, line.target - allocation.got(i)) for i, line in enumerate(lines))
    return RestockList(
        take_out=tuple(
            TakeOut(x.batch, x.place, x.count, why, x.training) for x, why in out if why
        ),
        put_in=tuple(_put_in(allocation, stock)),
        fill_up=tuple(_fill_up(replace(kit, lines=tuple(in_class)), stock)),
        missing=tuple(
            Missing(line, wanted, below_minimum=wanted > line.target - line.never_below)
            for line, wanted in wanting
            if wanted > 0
        ),
    )


def _replaced_by(lines: Iterable[Line], through: date) -> frozenset[int]:
    """The ids of things that lines have replaced, where a kit that lasts through this day is to
    have the new thing. Until then what is inside is used up first."""
    replaced = (old for line in lines for old in line.replaces)
    return frozenset(old.id for old in replaced if old.until is not None and through > old.until)


def _supplies(inside: dict[Pool, int], stock: Stock, old: frozenset[int]) -> list[dict[Pool, int]]:
    """What lines are given units of, in this order: what is inside, then on shelves; of what they
    have replaced only what they lack after that, so that no line goes short for it."""
    shelves = {(thing, _SHELF): sum(x.count for x in xs) for thing, xs in stock.items()}
    supplies = [inside, shelves]
    return [
        {pool: count for pool, count in there.items() if (pool[0] in old) is late}
        for late in (False, True)
        for there in supplies
    ]


def _of_old(allocation: Allocation, i: int, old: frozenset[int]) -> int:
    line = allocation.lines[i]
    wanted = old & {each.id for each in line.replaces}
    return sum(count for (thing, _), count in allocation.held[i].items() if thing in wanted)


def _made_way(
    kit: KitState,
    staying: Iterable[Units],
    put_in: Iterable[PutIn],
    through: date,
    allocation: Allocation,
    old: frozenset[int],
) -> list[TakeOut]:
    """Units of what lines have replaced that no line needs any more, now that the new thing goes
    in: they go back to the shelf, the last expired first, so that the rest is used up."""
    lines = {row.line.id for row in put_in}
    free = dict(allocation.free)
    rows = []
    for x in sorted(staying, key=lambda x: first_out(x.batch, x.place), reverse=True):
        home, pool = home_line(kit, x), (x.batch.thing.id, x.place)
        if x.batch.thing.id not in old or home is None or home.id not in lines:
            continue
        count = min(x.count, free.get(pool, 0)) if why_not_counted(x, through) is None else 0
        if count and x.batch.thing.id != home.thing.id:
            free[pool] -= count
            rows.append(TakeOut(x.batch, x.place, count, Swap.REPLACED, x.training))
    return rows


def _in_order(shelf_units: Iterable[Units], through: date, today: date, list_signed: bool) -> Stock:
    def may_go(x: Units) -> bool:
        fault = may_be_put_in(x.batch, today, list_signed=list_signed, training_stock=x.training)
        return fault is None

    usable = [x for x in shelf_units if x.count > 0 and usable_through(x.batch, through)]
    of_things = grouped((x.batch.thing.id, x) for x in filter(may_go, usable))
    for thing, units in of_things.items():
        if units[0].batch.thing.kind is Kind.DOCUMENT:
            of_things[thing] = _of_current_edition(units)
    return {
        thing: sorted(units, key=lambda x: first_out(x.batch, x.place))
        for thing, units in of_things.items()
    }


def _of_current_edition(units: Sequence[Units]) -> list[Units]:
    newest = current(Edition(x.batch.id, x.batch.expiry, bool(x.batch.number)) for x in units)
    return [x for x in units if newest is not None and x.batch.id == newest.batch]


def _put_in(allocation: Allocation, stock: Stock) -> list[PutIn]:
    """What the allocation has from the shelf, in the order of the list. Where lines share a
    thing, the one of the first rank gets what goes out of date first."""
    left = {thing: [(x, x.count) for x in reversed(units)] for thing, units in stock.items()}
    put_in: dict[int, list[PutIn]] = {}
    by_rank = sorted(
        range(len(allocation.lines)),
        key=lambda i: BY_RANK.index(allocation.lines[i].criticality),
    )
    for i in by_rank:
        line = allocation.lines[i]
        for (thing, place), count in sorted(allocation.held[i].items()):
            if place not in (_SHELF, _TRAINING_BOX):
                continue
            wanted = count
            while wanted > 0:
                x, there = left[thing].pop()
                taken = min(wanted, there)
                wanted -= taken
                if taken < there:
                    left[thing].append((x, there - taken))
                instead_of = None if thing == line.thing.id else line.thing
                put_in.setdefault(i, []).append(
                    PutIn(line, line.section, x.batch, x.place, taken, instead_of)
                )
    return [row for i in sorted(put_in) for row in put_in[i]]


def _swapped(
    kit: KitState, staying: Iterable[Units], put_in: Iterable[PutIn], through: date
) -> list[TakeOut]:
    """Units that do not count through the day and whose line gets better ones: as many as it gets,
    the first expired first."""
    replaced = summed((row.line.id, row.count) for row in put_in)
    swapped = []
    for x in sorted(staying, key=lambda x: first_out(x.batch, x.place)):
        fault, home = why_not_counted(x, through), home_line(kit, x)
        if fault is None or home is None or not replaced[home.id]:
            continue
        count = min(x.count, replaced[home.id])
        replaced[home.id] -= count
        why: ReasonCode | Swap = Swap.ENDS_TOO_SOON if fault in OUT_OF_DATE else Swap.CHECK_NEEDED
        if fault is ReasonCode.DATE_NOT_KNOWN:
            why = fault
        swapped.append(TakeOut(x.batch, x.place, count, why, x.training))
    return swapped


def _fill_up(kit: KitState, stock: Stock) -> Iterable[FillUp]:
    for line in kit.lines:
        level = kit.levels.get((line.section, line.thing.id))
        if line.thing.by_eye and line.section not in kit.away and level is not Level.FULL:
            first = next(iter(stock.get(line.thing.id, ())), None)
            source = (first.batch, first.place) if first else (None, None)
            yield FillUp(line, line.section, level, *source)
