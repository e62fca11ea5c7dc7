"""Which batch lies in which kit, so that least goes out of date unused.

Units are given to places in the order in which a spot uses them: the i-th unit there goes out of
date unused if fewer than i are wanted by its last day. That is exact where a line holds one batch,
and close where it holds several; so the result is weighed by the recursion over batches, bettered
by exchanges of single units, and never taken where plain first expired, first out wastes less.
Opening a sealed kit for nothing but this costs somebody's time: it is done only where it pays.
"""

from collections import Counter
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

from gearroom.core.rules.grouping import grouped
from kits.rules.buying.programme import Programme, Row
from kits.rules.rotation.first_out import first_out
from kits.rules.rotation.spots import Holding, Stock

SECONDS = 5.0
WITHIN = 1e-4
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
    """The rotation of least cost: the money of what is expected to go out of date, and `opening`
    (0 or more) for each kit besides those `opened` anyway. Each spot holds as many units as first
    expired, first out would put there, and none that it would not that does not last. The same
    stock has the same rotation, unless time ran out."""
    plain = first_out(stock, opened)
    best, best_cost, best_kits = plain, stock.waste_of(plain), frozenset[int]()
    for kits in _openings(stock, plain, opened, opening, seconds):
        after = _exchanged(stock, kits.holding, plain, opened | kits.opened)
        cost = stock.waste_of(after) + opening * len(kits.opened)
        if cost < best_cost - LEAST:
            best, best_cost, best_kits = after, cost, kits.opened
    return Rotation(stock, best, plain, best_kits, opening)


@dataclass(frozen=True)
class _Solved:
    holding: Holding
    opened: frozenset[int]


def _openings(
    stock: Stock, plain: Holding, opened: Set[int], opening: float, seconds: float
) -> Iterator[_Solved]:
    """What the programme says with only what is opened anyway, and with what pays besides."""
    yield _Solved(plain, frozenset())
    for may_open in (False, True):
        solved = _solve(stock, plain, opened, opening if may_open else None, seconds)
        if solved is not None:
            yield solved


def _may_lie(stock: Stock, plain: Holding, at: int, batch: int) -> bool:
    """Whether units of the batch may be put there: they last, or some stay where they are."""
    spot = stock.spots[at]
    return spot.kit is None or stock.batches[batch].days >= spot.lasts or batch in plain[at]


def _solve(
    stock: Stock, plain: Holding, opened: Set[int], opening: float | None, seconds: float
) -> _Solved | None:
    problem = _Problem(stock, plain, opened)
    if opening is not None:
        kits = {spot.kit for spot in stock.spots if spot.kit is not None}
        for kit in sorted(kits - opened):
            problem.opens[kit] = problem.programme.column(opening, 1)
    by_item = grouped((spot.item, at) for at, spot in enumerate(stock.spots))
    for _, spots in sorted(by_item.items()):
        problem.add_item(spots)
    return problem.solved(seconds)


@dataclass
class _Problem:
    """The programme: for each spot and batch one column a place there, from 0 to 1, in the order of
    use; `opens` has a column for each kit that may be opened for this."""

    stock: Stock
    plain: Holding
    opened: Set[int]
    programme: Programme = field(default_factory=Programme)
    opens: dict[int, int] = field(default_factory=dict)
    columns: dict[tuple[int, int], list[int]] = field(default_factory=dict)

    def add_item(self, spots: Sequence[int]) -> None:
        """Every place of an item's spots gets one unit, and every unit a place."""
        total = sum((Counter(self.plain[at]) for at in spots), Counter[int]())
        rows: dict[int, Row] = {batch: {} for batch in sorted(total)}
        for at in spots:
            places: list[Row] = [{} for _ in range(sum(self.plain[at].values()))]
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
        kit = self.stock.spots[at].kit
        opens = kit is None or kit in self.opened or kit in self.opens
        return batch in self.plain[at] or (opens and _may_lie(self.stock, self.plain, at, batch))

    def _columns(self, at: int, batch: int, places: int) -> list[int]:
        spot, dated, units = self.stock.spots[at], self.stock.batches[batch], self.plain[at]
        price = dated.price if self.stock.counts(batch) else 0.0
        columns = [
            self.programme.column(price * chance, 1, whole=False)
            for chance in _chances_unused(self.stock, at, batch, places)
        ]
        self.columns[at, batch] = columns
        row: Row = dict.fromkeys(columns, 1.0)
        if spot.kit is not None and dated.days < spot.lasts:
            self.programme.at_most(row, units.get(batch, 0))
        if spot.kit is not None and spot.kit not in self.opened and batch in units:
            stays = row | (
                {self.opens[spot.kit]: float(units[batch])} if spot.kit in self.opens else {}
            )
            self.programme.at_least(stays, units[batch])
        return columns

    def solved(self, seconds: float) -> _Solved | None:
        """What the solution lays where; None if there is none in so many seconds."""
        values = self.programme.solve(seconds, WITHIN).values
        if values is None:
            return None
        held: list[dict[int, int]] = [{} for _ in self.stock.spots]
        for (at, batch), columns in self.columns.items():
            if units := round(sum(values[column] for column in columns)):
                held[at][batch] = units
        opened = (kit for kit, column in self.opens.items() if values[column] > 0.5)
        return _Solved(tuple(held), frozenset(opened))


def _chances_unused(stock: Stock, at: int, batch: int, places: int) -> list[float]:
    """The chance that the first, second … unit used there is not wanted by the batch's last day."""
    use = stock.spots[at].use
    if use is None or use.exposure_a_day <= 0:
        return [1.0] * places
    wanted = use.wanted(stock.batches[batch].days).cumsum()
    return [float(wanted[min(i, len(wanted) - 1)]) for i in range(places)]


def _exchanged(stock: Stock, holding: Holding, plain: Holding, opened: Set[int]) -> Holding:
    """Bettered by exchanging units of two spots, as long as it saves money by the recursion. Where
    both hold one batch the programme was exact."""
    held = [dict(holds) for holds in holding]
    free = [at for at, spot in enumerate(stock.spots) if spot.kit is None or spot.kit in opened]
    for spots in grouped((stock.spots[at].item, at) for at in free).values():
        for _ in range(MOST_ROUNDS):
            # A list: each pair is tried, whatever others bettered.
            bettered = [
                _exchange(stock, held, plain, a, b)
                for a, b in combinations(spots, 2)
                if len(held[a]) > 1 or len(held[b]) > 1
            ]
            if not any(bettered):
                break
    return tuple(held)


def _exchange(stock: Stock, held: list[dict[int, int]], plain: Holding, a: int, b: int) -> bool:
    now = stock.waste(a, held[a]) + stock.waste(b, held[b])
    best: tuple[float, dict[int, int], dict[int, int]] | None = None
    for out in sorted(held[a]):
        for into in sorted(held[b]):
            if out == into or not _room(stock, held, plain, a, into, b, out):
                continue
            of_a, of_b = _swapped(held[a], out, into), _swapped(held[b], into, out)
            cost = stock.waste(a, of_a) + stock.waste(b, of_b)
            if cost < (now if best is None else best[0]) - LEAST:
                best = cost, of_a, of_b
    if best is None:
        return False
    held[a], held[b] = best[1], best[2]
    return True


def _room(
    stock: Stock,
    held: list[dict[int, int]],
    plain: Holding,
    a: int,
    into_a: int,
    b: int,
    into_b: int,
) -> bool:
    return all(
        stock.spots[at].kit is None
        or stock.batches[batch].days >= stock.spots[at].lasts
        or held[at].get(batch, 0) < plain[at].get(batch, 0)
        for at, batch in ((a, into_a), (b, into_b))
    )


def _swapped(holds: dict[int, int], out: int, into: int) -> dict[int, int]:
    return dict(+(Counter(holds) - Counter((out,)) + Counter((into,))))
