"""How long a season's order takes: `python -m tests.bench.order [--items N] [--seeds N]`.

Invented seasons of N items (500 unless told), each with three offers at ten suppliers: packs of
several sizes, prices that fall with the number of packs, deliveries that are free from some value
on, and for every other season a budget. On one processor. Prints for each what the order comes to,
how far below that no order can go, the seconds until the plan is there on the clock and of the
processor, and what the order that somebody would write by hand comes to. Exits 1 where a plan is
not within 1 %, or took more than SECONDS of the processor.
"""

import argparse
import os
import random
import sys
import time
from decimal import Decimal

from kits.rules.buying.naive_plan import naive_order
from kits.rules.buying.order_plan import WITHIN, plan
from kits.rules.buying.season import Offer, Price, Season, Supplier, Want
from kits.rules.buying.season_costs import cost
from kits.rules.ledger.facts import Criticality
from kits.rules.planning import demand

SECONDS = 3.0
PATIENCE = 20 * SECONDS
"""On the clock, which others' work on the same machine stretches."""
SUPPLIERS = 10
OFFERS = 3
SINGLE = demand.units_of_use([0.7, 0.2, 0.1])


def main() -> None:
    """Plan and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--items", type=int, default=500)
    parser.add_argument("--seeds", type=int, default=6, help="how many seasons")
    options = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    slow = [seed for seed in range(options.seeds) if not measure(seed, options.items)]
    sys.exit(int(bool(slow)))


def measure(seed: int, items: int) -> bool:
    """Plan one season and print; whether it is within 1 % in time."""
    season = invented(seed, items)
    began, worked = time.perf_counter(), time.process_time()
    found = plan(season, seconds=PATIENCE)
    took, work = time.perf_counter() - began, time.process_time() - worked
    naive = cost(season, naive_order(season))
    print(
        f"season {seed}: {items} items × {OFFERS} offers at {SUPPLIERS} suppliers: comes to"
        f" {found.comes_to}, no order below {found.bound} ({100 * found.within:.2f} %),"
        f" {found.found}; {took:.2f} s, {work:.2f} s of the processor; {len(found.order.packs)}"
        f" lines for {found.order.money(season)}; by hand it comes to {naive:.2f}"
    )
    return found.within <= WITHIN + 1e-6 and work <= SECONDS


def invented(seed: int, items: int) -> Season:
    """A season by chance, the same for the same seed."""
    chance = random.Random(seed)
    suppliers = tuple(
        Supplier(
            n,
            Decimal(chance.choice([0, 395, 495, 695])) / 100,
            chance.choice([None, Decimal(30), Decimal(50), Decimal(100)]),
            Decimal(chance.choice([0, 0, 0, 20])),
        )
        for n in range(SUPPLIERS)
    )
    wants, offers = [], []
    for item in range(items):
        mean = chance.choice([0.2, 0.5, 1, 3, 8, 20, 40]) * chance.uniform(0.5, 1.5)
        rate = demand.Rate(chance.uniform(2, 30), 100.0)
        used = demand.demand(rate, 100 * mean / rate.shape, SINGLE)
        kept = demand.demand(rate, 300 * mean / rate.shape, SINGLE)
        wants.append(
            Want(
                item,
                chance.choice([0, 0, 1, 2, 4]),
                tuple(float(each) for each in used),
                round(chance.choice([0, 0.5, 1, 2]) * mean),
                chance.choice([None, tuple(float(each) for each in kept)]),
                chance.choice(list(Criticality)),
            )
        )
        price = chance.uniform(0.1, 12)
        for n in range(OFFERS):
            units = chance.choice([1, 1, 5, 10, 20])
            each = Decimal(max(5, round(100 * units * price * chance.uniform(0.8, 1.2)))) / 100
            cheaper = (each * Decimal("0.9")).quantize(Decimal("0.01"))
            breaks = (Price(5, cheaper),) if chance.random() < 0.2 else ()
            seller = chance.randrange(SUPPLIERS)
            offers.append(
                Offer(item * OFFERS + n, item, seller, units, "GBP", (Price(1, each), *breaks))
            )
    budget = Decimal(items * chance.choice([8, 60])) if seed % 2 else None
    return Season("GBP", tuple(wants), tuple(offers), suppliers, budget)


if __name__ == "__main__":
    main()
