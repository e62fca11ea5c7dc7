"""What planning a season is worth: `python -m tests.bench.season [--seeds 200] [--years 3]`.

Each seed is an invented school (`tests/bench/seasons/school.py`) that orders for a year as its
weekly email says; from there on its years are played several times on the very same needs: ordering
by levels that somebody set once, by order levels that follow from use, and by the season's plan,
which looks so many days `--ahead` (0: to the season's end). Always what expires first is used
first. Prints, a season, what kits lacked by how much it matters, what went out of date and what was
spent, and the differences that the plan makes, each with a 90 % interval of the paired differences.
Where the plan is not better, it says so. Exits 1 where it is worse in anything than levels by hand,
with its interval above 0.
"""

import argparse
import copy
import math
import statistics
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from multiprocessing import Pool

from scipy import special

from tests.bench.seasons.buyers import by_hand, by_plan, by_use
from tests.bench.seasons.school import PRIORITIES, Buyer, Stock, Tally, invent, needs, opened, play

YEAR = 364
AHEAD_DAYS = 63
LEVELS: dict[str, Buyer] = {"levels by hand": by_hand, "levels by use": by_use}
PLAN = "plan"


@dataclass(frozen=True)
class Measure:
    """Something that is better the less there is of it."""

    name: str
    of: Callable[[Tally, int], float]


def left_worth(stock: Stock) -> int:
    """What lies on shelves and is on its way, in pence."""
    return sum(
        (stock.shelf[w.number].total() + stock.on_order(w.number)) * stock.worth[w.number]
        for w in stock.school.wares
    )


def _by_priority(name: str, counts: Callable[[Tally], Counter[str]]) -> list[Measure]:
    def measure(priority: str) -> Measure:
        return Measure(f"{name}, {priority}", lambda t, left: counts(t)[priority])

    return [measure(priority) for priority in PRIORITIES]


MEASURES = [
    *_by_priority("units needed and not in the kit", lambda t: t.unmet),
    *_by_priority("units × days that kits lacked", lambda t: t.lacked),
    Measure("out of date, units", lambda t, left: t.wasted),
    Measure("out of date, money", lambda t, left: t.wasted_pence / 100),
    Measure("spent, money", lambda t, left: t.spent_pence / 100),
    Measure("spent less what is left, money", lambda t, left: (t.spent_pence - left) / 100),
    Measure("orders sent", lambda t, left: t.orders),
]
"""Of a whole play; what is left counts against what lay there at its start."""


def seasons(seed: int, years: int, ahead: int) -> dict[str, list[float]]:
    """What each way of ordering comes to a year, by `MEASURES`, on the needs of one school."""
    school = invent(seed)
    wanted = needs(school, YEAR * (1 + years))
    start = opened(school)
    play(start, wanted[:YEAR], by_hand)
    found = {}
    planned: Buyer = partial(by_plan, ahead=ahead)
    for name, buyer in {**LEVELS, PLAN: planned}.items():
        stock = copy.deepcopy(start)
        tally = play(stock, wanted[YEAR:], buyer)
        left = left_worth(stock) - left_worth(start)
        found[name] = [each.of(tally, left) / years for each in MEASURES]
    return found


@dataclass(frozen=True)
class Difference:
    """A mean of paired differences (below 0: less is better), with its 90 % interval."""

    mean: float
    low: float
    high: float

    @property
    def verdict(self) -> str:
        """In a word."""
        if self.high < 0:
            return "better"
        if self.low > 0:
            return "WORSE"
        return "the same" if self.low == self.high == 0 else "not shown to be better"


def difference(pairs: Sequence[tuple[float, float]]) -> Difference:
    """Of (with, without), two or more; Student's t interval."""
    each = [after - before for after, before in pairs]
    mean = statistics.fmean(each)
    half = special.stdtrit(len(each) - 1, 0.95) * statistics.stdev(each) / math.sqrt(len(each))
    return Difference(mean, mean - half, mean + half)


def report(found: Sequence[dict[str, list[float]]]) -> tuple[list[str], bool]:
    """The lines to print, and whether the plan is worse in anything than levels by hand."""
    lines, worse = [], False
    for other in LEVELS:
        lines.append(f"a season by {other} → by the plan: means, and their difference (90 %)")
        for n, measure in enumerate(MEASURES):
            pairs = [(each[PLAN][n], each[other][n]) for each in found]
            lines.append(compared(measure.name, pairs))
            worse = worse or (other == "levels by hand" and difference(pairs).low > 0)
    return lines, worse


def compared(name: str, pairs: Sequence[tuple[float, float]]) -> str:
    """A line of a measure, of (with, without) pairs."""
    d = difference(pairs)
    after, before = (statistics.fmean(column) for column in zip(*pairs, strict=True))
    return (
        f"  {name:46} {before:9.1f} → {after:9.1f}"
        f"  {d.mean:+9.2f} ({d.low:+.2f} to {d.high:+.2f})  {d.verdict}"
    )


def _one(task: tuple[int, int, int]) -> dict[str, list[float]]:
    return seasons(*task)


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=20, help="how many schools, two or more")
    parser.add_argument("--years", type=int, default=3)
    parser.add_argument("--ahead", type=int, default=AHEAD_DAYS, help="days that the plan looks")
    parser.add_argument("--processes", type=int, default=1)
    options = parser.parse_args()
    began = time.perf_counter()
    with Pool(options.processes) as pool:
        tasks = [(seed, options.years, options.ahead) for seed in range(options.seeds)]
        found = pool.map(_one, tasks, chunksize=1)
    lines, worse = report(found)
    print(
        f"{options.seeds} schools, {options.years} seasons each, planned {options.ahead} days"
        f" ahead: {time.perf_counter() - began:.0f} s"
    )
    print("\n".join(lines))
    sys.exit(int(worse))


if __name__ == "__main__":
    main()
