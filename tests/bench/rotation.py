"""What rotation is worth: `python -m tests.bench.rotation [--seeds 20] [--years 2]`; what one
takes of the processor: `--kits 40`.

The schools of `tests.bench.season` order by levels that follow from use, on the very same needs
with rotation off and on: off, what expires first is put in first and stays where it is; on, the
program's rotation is followed on the first Monday of every third month. Once all twelve kits go out
alike, once the busiest goes out twelve times as often as the one that hardly ever does. Prints, a
season, what kits lacked, what went out of date and what was spent, with 90 % intervals of the
paired differences, and the work that rotation made. Where it is not better, it says so. Exits 1
where the money of what goes out of date, or what kits lacked, is worse with its interval above 0.
"""

import argparse
import copy
import random
import sys
import time
from collections import Counter
from collections.abc import Sequence
from multiprocessing import Pool

from kits.rules.planning.demand import Rate, units_of_use
from kits.rules.rotation.rotation import rotate
from kits.rules.rotation.spots import DatedBatch, Spot, Stock, Use
from tests.bench.season import MEASURES, YEAR, compared, difference, left_worth
from tests.bench.seasons.buyers import by_hand, by_use
from tests.bench.seasons.rotating import Rotator
from tests.bench.seasons.school import KITS, invent, needs, opened, play

WARES = 12
OPENING = 7.0
"""What an opening only for rotation must save: a room's setting, as it comes."""
SHARES = {
    "kits go out alike": [1 / KITS] * KITS,
    "the busiest kit goes out 12 times as often as the quietest": [
        weight / sum(1 / n for n in range(1, KITS + 1))
        for weight in (1 / n for n in range(1, KITS + 1))
    ],
}
WORK = ["units swapped", "kits opened only for this"]
COSTS = "out of date and openings, money"
COSTS_AT = len(MEASURES)
LACKED = [n for n, each in enumerate(MEASURES) if each.name.startswith("units needed")]
WASTED = [n for n, each in enumerate(MEASURES) if each.name == "out of date, money"]


def seasons(seed: int, years: int, shares: Sequence[float]) -> list[list[float]]:
    """What rotation on and off come to a year: by `MEASURES`, `COSTS` and `WORK`."""
    school = invent(seed, WARES)
    wanted = needs(school, YEAR * (1 + years), shares)
    start = opened(school)
    play(start, wanted[:YEAR], by_hand)
    found = []
    for rotator in (Rotator(shares, OPENING), None):
        stock = copy.deepcopy(start)
        tally = play(stock, wanted[YEAR:], by_use, rotator)
        left = left_worth(stock) - left_worth(start)
        values = [each.of(tally, left) for each in MEASURES]
        work = [rotator.swapped, rotator.openings] if rotator else [0, 0]
        values += [values[WASTED[0]] + OPENING * work[1], *work]
        found.append([value / years for value in values])
    return found


def processor_time(kits: int, items: int = 25, seed: int = 1) -> float:
    """How long one rotation of a room takes, of the processor, in s: kits of which some go out
    sixty times as often as others, 25 items in five batches each, a third of lines mixed."""
    chance = random.Random(seed)
    days = [0.2 + 12 * chance.random() ** 2 for _ in range(kits)]
    batches: list[DatedBatch] = []
    spots: list[Spot] = []
    for item in range(items):
        numbers = [item * 100 + n for n in range(5)]
        price = chance.uniform(0.2, 9)
        batches += [DatedBatch(n, item, chance.randint(20, 900), price) for n in numbers]
        rate = Rate(chance.uniform(1, 30), chance.uniform(2000, 8000), 2.0)
        units = tuple(units_of_use([0.6, 0.3, 0.1]).tolist())
        for kit in range(kits):
            wants, lies = chance.randint(2, 8), chance.sample(numbers, chance.choice([1, 1, 3]))
            holds = Counter(chance.choice(lies) for _ in range(wants))
            spots.append(Spot(item, kit, holds, wants, 28, Use(rate, units, days[kit])))
        shelf = {n: chance.randint(1, 25) for n in numbers if chance.random() < 0.8}
        spots.append(Spot(item, None, shelf, use=Use(rate, units, sum(days))))
    stock = Stock.of(batches, spots)
    began = time.process_time()
    rotate(stock, frozenset(range(0, kits, 3)), OPENING)
    return time.process_time() - began


def _one(task: tuple[int, int, Sequence[float]]) -> list[list[float]]:
    return seasons(*task)


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=20, help="how many schools, two or more")
    parser.add_argument("--years", type=int, default=2)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--kits", type=int, help="only one rotation of a room with so many kits")
    options = parser.parse_args()
    if options.kits:
        print(f"{options.kits} kits: {processor_time(options.kits):.2f} s of the processor")
        return
    worse = False
    for name, shares in SHARES.items():
        began = time.perf_counter()
        with Pool(options.processes) as pool:
            tasks = [(seed, options.years, shares) for seed in range(options.seeds)]
            found = pool.map(_one, tasks, chunksize=1)
        print(
            f"{name}: {options.seeds} schools, {options.years} seasons each, "
            f"{time.perf_counter() - began:.0f} s; a season without → with rotation (90 %)"
        )
        for n, measure in enumerate([*(each.name for each in MEASURES), COSTS, *WORK]):
            pairs = [(on[n], off[n]) for on, off in found]
            print(compared(measure, pairs), flush=True)
            worse = worse or (n in [*LACKED, *WASTED] and difference(pairs).low > 0)
        saved = difference([(on[COSTS_AT], off[COSTS_AT]) for on, off in found])
        if saved.high >= 0:
            print("  Rotation does not pay here: it is not shown to save any money.", flush=True)
    sys.exit(int(worse))


if __name__ == "__main__":
    main()
