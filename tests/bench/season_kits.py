"""How long choosing kits for all trips takes: `python -m tests.bench.season_kits`.

Invented seasons of half a year: 60 kits in two rooms for 150 trips, chosen to proof, and 300 kits
in five rooms for 1,000 trips, to within 0.5 %. On one processor. Prints what the choice comes to,
how far below that no choice can go, the seconds until it is there on the clock and of the
processor, building it included, and what one trip after the other comes to. Exits 1 where a choice
is not as near as that, or took longer of the processor than it may.
"""

import argparse
import os
import random
import sys
import time
from dataclasses import dataclass
from datetime import date, timedelta

from kits.rules.ledger import TripNeeds
from kits.rules.trips.season import Season, SeasonKit, SeasonTrip
from kits.rules.trips.season_kits import TOLERANCE, WITHIN, choose, one_by_one

FIRST_DAY, DAYS = date(2027, 3, 1), 180
PATIENCE = 20
"""How many times longer it may take on the clock, which others' work on the machine stretches."""
LISTS = (
    # people, days, hazards, for children, how many of such kits there are
    (8, 1, {"hill"}, True, 5),
    (12, 3, {"hill", "water"}, True, 3),
    (14, 8, {"hill", "water", "cold"}, False, 1),
    (10, 1, {"hill", "cave"}, False, 2),
    (6, 2, {"hill", "tools"}, False, 1),
)
TRIPS = ({"hill"}, {"hill"}, {"hill", "water"}, {"cave"}, {"hill", "cold"}, {"tools"})
READY_DAYS = (20, 60, 100, 200)


@dataclass(frozen=True)
class Size:
    """How large a season is, and what is asked of a choice for it."""

    kits: int
    trips: int
    rooms: int
    within: float
    seconds: float


SIZES = (Size(60, 150, 2, 0.0, 2.0), Size(300, 1000, 5, WITHIN, 10.0))
SMALLEST = Size(6, 12, 2, 0.0, 2.0)


def main() -> None:
    """Choose and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=3, help="how many seasons of each size")
    parser.add_argument("--smallest", action="store_true", help="one small season alone")
    options = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    sizes = (SMALLEST,) if options.smallest else SIZES
    good = [measure(size, seed) for size in sizes for seed in range(options.seeds)]
    sys.exit(int(not all(good)))


def measure(size: Size, seed: int) -> bool:
    """Choose for one season and print; whether it is near enough in time."""
    season = invented(size, seed)
    began, worked = time.perf_counter(), time.process_time()
    chosen = choose(season, seconds=PATIENCE * size.seconds, within=size.within)
    took, work = time.perf_counter() - began, time.process_time() - worked
    print(
        f"season {seed}: {size.kits} kits ({len(season.classes)} kinds) × {size.trips} trips:"
        f" comes to {chosen.comes_to:.0f}, no choice below {chosen.bound:.0f}"
        f" ({100 * chosen.within:.2f} %), {chosen.found}; {took:.2f} s, {work:.2f} s of the"
        f" processor; {len(chosen.choice)} kits out, {len(chosen.lacking)} trips not served; one"
        f" trip after the other comes to {season.points(one_by_one(season)):.0f}"
    )
    return chosen.within <= size.within + TOLERANCE and work <= size.seconds


def invented(size: Size, seed: int) -> Season:
    """A season by chance, the same for the same seed."""
    chance = random.Random(seed)
    return Season(
        tuple(_trip(n, chance, size) for n in range(size.trips)),
        tuple(_kit(n, chance, size) for n in range(size.kits)),
    )


def _trip(number: int, chance: random.Random, size: Size) -> SeasonTrip:
    first = FIRST_DAY + timedelta(days=chance.randrange(DAYS))
    days = chance.choice([1, 1, 1, 2, 2, 3, 5, 8])
    needs = TripNeeds(
        chance.randrange(4, 15),
        first,
        first + timedelta(days=days - 1),
        frozenset(chance.choice(TRIPS)) if days <= 3 else frozenset({"hill"}),
        children=chance.random() < 0.2,
    )
    return SeasonTrip(number, f"Trip {number}", needs, chance.randrange(size.rooms))


def _kit(number: int, chance: random.Random, size: Size) -> SeasonKit:
    weights = [row[-1] for row in LISTS]
    people, days, hazards, children, _ = chance.choices(LISTS, weights)[0]
    return SeasonKit(
        number,
        f"KIT-{number:03}",
        chance.randrange(size.rooms),
        people,
        days,
        frozenset(hazards),
        child_through=date.max if children else None,
        ready_through=FIRST_DAY + timedelta(days=chance.choice(READY_DAYS)),
        restocked_through=FIRST_DAY + timedelta(days=2 * DAYS),
        times=chance.randrange(9),
    )


if __name__ == "__main__":
    main()
