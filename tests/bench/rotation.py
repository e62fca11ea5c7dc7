"""What rotation is worth: `python -m tests.bench.rotation [--seeds 20] [--years 2]`.

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
import sys
import time
from collections.abc import Sequence
from multiprocessing import Pool

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


def _one(task: tuple[int, int, Sequence[float]]) -> list[list[float]]:
    return seasons(*task)


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=20, help="how many schools, two or more")
    parser.add_argument("--years", type=int, default=2)
    parser.add_argument("--processes", type=int, default=1)
    options = parser.parse_args()
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
    sys.exit(int(worse))


if __name__ == "__main__":
    main()
