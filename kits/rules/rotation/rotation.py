"""Which batch lies in which kit, so that least goes out of date unused.

Units are given to places in the order in which a spot uses them: the i-th unit there goes out of
date unused if fewer than i are wanted by its last day. That is exact where a line holds one batch,
and close where it holds several; so the result is weighed by the recursion over batches, bettered
by exchanges of single units, and never taken where plain first expired, first out wastes less.
Opening a sealed kit for nothing but this costs somebody's time, and each unit that is swapped a
little of it: both are done only where they pay.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, product

from gearroom.core.rules.grouping import grouped
from gearroom.core.rules.programme import Programme, Row
from kits.rules.rotation.first_out import first_out
from kits.rules.rotation.spots import Holding, Holds, Stock

SECONDS = 5.0
WITHIN = 1e-4
SWAP_OF_OPENING = 0.01
"""Swapping a unit takes this share of the time of opening a kit."""
LEAST = 1e-9
"""A smaller difference in money is none."""
MOST_ROUNDS = 20
"""How often exchanges are looked for in all spots of an item."""


@dataclass(frozen=True)
class Rotation:
    """What lies where `after`, what would if filled first expired, first out (`plain`), and the
    kits that are opened only for this. `opening` is what one such opening costs."""

    stock: Stock
    after: Holding
    plain: Holding
    opened_for_it: frozenset[int]
    opening: float

    @cached_property
    def money_saved(self) -> float:
        """Against plain first expired, first out, less what the openings cost. Never below 0."""
        wasted = self.stock.waste_of(self.plain) - self.stock.waste_of(self.after)
        return wasted - self.opening * len(self.opened_for_it)

    @cached_property
    def units_saved(self) -> float:
        """Units fewer that are expected to go out of date than with first expired, first out. It
        may be below 0: few that cost much against many that cost little."""
        return self.stock.unused_of(self.plain) - self.stock.unused_of(self.after)


def rotate(stock: Stock, opened: Set[int], opening: float, *, seconds: float = SECONDS) -> Rotation:
    """The rotation of least cost: the money of what is expected to go out of date, `opening` (0 or
    more) for each kit besides those `opened` anyway, and a little for each unit swapped.

    Each spot holds as many units as first expired, first out would put there, and none that it
    would not that does not last. The same stock has the same rotation, unless time ran out.
    """
    costs = _Costs(stock, first_out(stock, opened), opening)
    if not any(spot.use is not None and spot.use.exposure_a_day > 0 for spot in stock.spots):
        # Whatever lies where, all of it goes out of date.
        return Rotation(stock, costs.plain, costs.plain, frozenset(), opening)
    best, kits, least = costs.plain, frozenset[int](), costs.of_all(costs.plain, 0)
    for solved in _solutions(costs, opened, seconds):
        after = _bettered(costs, solved.holding, opened | solved.opened)
        cost = costs.of_all(after, len(solved.opened))
        if cost < least - LEAST:
            best, kits, least = after, solved.opened, cost
    return Rotation(stock, best, costs.plain, kits, opening)


@dataclass(frozen=True)
class _Costs:
    """What holdings come to, against `plain`, where an opening costs so much."""

    stock: Stock
    plain: Holding
    opening: float

    @property
    def swap(self) -> float:
        """Of a unit that is swapped."""
        return self.opening * SWAP_OF_OPENING

    def of(self, at: int, holds: Holds) -> float:
        """What goes out of date at a spot, and the work there of swapping units."""
        swapped, plain = 0, self.plain[at]
        if self.stock.spots[at].kit is not None:
            swapped = sum(max(0, units - plain.get(batch, 0)) for batch, units in holds.items())
        return self.stock.waste(at, holds) + self.swap * swapped

    def of_all(self, holding: Holding, kits: int) -> float:
        """All of it, with so many kits opened only for this."""
        return sum(self.of(at, holds) for at, holds in enumerate(holding)) + self.opening * kits

    def of_places(self, at: int, batch: int, places: int) -> Sequence[float]:
        """Of a batch's unit that is the first, second … used at a spot: its price, as often as it
        is not wanted there by the batch's last day."""
        price = self.stock.batches[batch].price
        if not (self.stock.counts(batch) and price):
            return [0.0] * places
        if (use := self.stock.spots[at].use) is None:
            return [price] * places
        days = self.stock.batches[batch].days
        return [price * chance for chance in self.stock.fewer_wanted(use, days, places)]

    def may_lie(self, at: int, batch: int, units: int) -> bool:
        """Whether so many units of a batch may be at a spot: they last, or they were to lie there
        anyway."""
        spot = self.stock.spots[at]
        lasts = spot.kit is None or self.stock.batches[batch].days >= spot.lasts
        return lasts or units <= self.plain[at].get(batch, 0)


@dataclass(frozen=True)
class _Solved:
    holding: Holding
    opened: frozenset[int]


def _solutions(costs: _Costs, opened: Set[int], seconds: float) -> Iterator[_Solved]:
    """What to start from: the plain holding, and what the programme says with only what is opened
    anyway, and with what pays besides."""
    yield _Solved(costs.plain, frozenset())
    kits = {spot.kit for spot in costs.stock.spots if spot.kit is not None} - opened
    for may_open in (frozenset[int](), kits):
        problem = _Problem(costs, opened)
        for kit in sorted(may_open):
            problem.opens[kit] = problem.programme.column(costs.opening, 1)
        by_item = grouped((spot.item, at) for at, spot in enumerate(costs.stock.spots))
        for _, spots in sorted(by_item.items()):
            problem.add_item(spots)
        if (solved := problem.solved(seconds)) is not None:
            yield solved


@dataclass
class _Problem:
    """The programme: for each spot and batch one column a place there, from 0 to 1, in the order of
    use; `opens` has a column for each kit that may be opened for this."""

    costs: _Costs
    opened: Set[int]
    programme: Programme = field(default_factory=Programme)
    opens: dict[int, int] = field(default_factory=dict)
    columns: dict[tuple[int, int], list[int]] = field(default_factory=dict)

    def add_item(self, spots: Sequence[int]) -> None:
        """Every place of an item's spots gets one unit, and every unit a place."""
        plain = self.costs.plain
        total = sum((Counter(plain[at]) for at in spots), Counter[int]())
        rows: dict[int, Row] = {batch: {} for batch in sorted(total)}
        for at in spots:
            places: list[Row] = [{} for _ in range(sum(plain[at].values()))]
            for batch in rows if places else ():
                if self._may_change(at, batch):
                    columns = self._columns(at, batch, len(places))
                    rows[batch] |= dict.fromkeys(columns, 1.0)
                    for place, column in zip(places, columns, strict=True):
                        place[column] = 1.0
            for place in places:
                self.programme.equal(place, 1.0)
        for batch, row in rows.items():
            self.programme.equal(row, total[batch])

    def _may_change(self, at: int, batch: int) -> bool:
        kit = self.costs.stock.spots[at].kit
        opens = kit is None or kit in self.opened or kit in self.opens
        return batch in self.costs.plain[at] or (opens and self.costs.may_lie(at, batch, 1))

    def _columns(self, at: int, batch: int, places: int) -> list[int]:
        stock, units = self.costs.stock, self.costs.plain[at].get(batch, 0)
        columns = [
            self.programme.column(cost, 1, whole=False)
            for cost in self.costs.of_places(at, batch, places)
        ]
        self.columns[at, batch] = columns
        row: Row = dict.fromkeys(columns, 1.0)
        kit = stock.spots[at].kit
        if kit is None:
            return columns
        if self.costs.may_lie(at, batch, places):
            more = self.programme.column(self.costs.swap, places, whole=False)
            self.programme.at_most(row | {more: -1.0}, units)
        else:
            self.programme.at_most(row, units)
        if kit not in self.opened:
            opens = {self.opens[kit]: float(units)} if kit in self.opens else {}
            self.programme.at_least(row | opens, units)
        return columns

    def solved(self, seconds: float) -> _Solved | None:
        """What the solution lays where; None if there is none in so many seconds."""
        values = self.programme.solve(seconds, WITHIN).values
        if values is None:
            return None
        held: list[dict[int, int]] = [{} for _ in self.costs.stock.spots]
        for (at, batch), columns in self.columns.items():
            if units := round(sum(values[column] for column in columns)):
                held[at][batch] = units
        opened = (kit for kit, column in self.opens.items() if values[column] > 0.5)
        return _Solved(tuple(held), frozenset(opened))


def _bettered(costs: _Costs, holding: Holding, opened: Set[int]) -> Holding:
    """Bettered by exchanging units of two spots, as long as it saves money by the recursion. Where
    both hold one batch the programme was exact."""
    exchanges = _Exchanges(costs, [dict(holds) for holds in holding])
    held, spots = exchanges.held, costs.stock.spots
    free = [at for at, spot in enumerate(spots) if spot.kit is None or spot.kit in opened]
    for of_item in grouped((spots[at].item, at) for at in free).values():
        for _ in range(MOST_ROUNDS):
            # A list: each pair is tried, whatever others bettered.
            changed = [
                exchanges.best(a, b)
                for a, b in combinations(of_item, 2)
                if len(held[a]) > 1 or len(held[b]) > 1
            ]
            if not any(changed):
                break
    return tuple(held)


@dataclass
class _Exchanges:
    """What the spots hold, and what is known of exchanging a unit: what it costs each spot, as long
    as what that holds stays, and the pairs of spots between which nothing pays."""

    costs: _Costs
    held: list[dict[int, int]]
    added: dict[int, dict[tuple[int, int], float]] = field(default_factory=dict)
    settled: dict[tuple[int, int], tuple[Holds, Holds]] = field(default_factory=dict)

    def best(self, a: int, b: int) -> bool:
        """Exchange the two units that save most; whether any two save something."""
        of_a, of_b = self.held[a], self.held[b]
        known = self.settled.get((a, b))
        if known is not None and known[0] is of_a and known[1] is of_b:
            return False
        best: tuple[int, int] | None = None
        least, most = 0.0, self.costs.of(b, of_b)  # no spot saves more than it costs
        for out, into in product(sorted(of_a), sorted(of_b)):
            if out == into or (at_a := self._adds(a, out, into)) - most >= least - LEAST:
                continue
            if (adds := at_a + self._adds(b, into, out)) < least - LEAST:
                best, least = (out, into), adds
        if best is None:
            self.settled[a, b] = of_a, of_b
            return False
        self._hold(a, _with(of_a, *best))
        self._hold(b, _with(of_b, *reversed(best)))
        return True

    def _adds(self, at: int, out: int, into: int) -> float:
        """What a unit for another adds to the cost of a spot; no end where it may not lie there."""
        known = self.added.setdefault(at, {})
        if (out, into) not in known:
            before, after = self.held[at], _with(self.held[at], out, into)
            may = self.costs.may_lie(at, into, after[into])
            known[out, into] = (
                self.costs.of(at, after) - self.costs.of(at, before) if may else math.inf
            )
        return known[out, into]

    def _hold(self, at: int, holds: dict[int, int]) -> None:
        self.held[at] = holds
        self.added.pop(at, None)


def _with(holds: Holds, out: int, into: int) -> dict[int, int]:
    after = {**holds, out: holds[out] - 1, into: holds.get(into, 0) + 1}
    return {batch: units for batch, units in after.items() if units}
