"""What a rotation asks of people: kit by kit, what to fill it with and what to swap."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gearroom.core.rules.grouping import grouped
from kits.rules.rotation.rotation import Rotation


@dataclass(frozen=True)
class Fill:
    """Units of a batch to put in, of an item that the kit is short of."""

    item: int
    batch: int
    units: int


@dataclass(frozen=True)
class Swap:
    """Units of a batch to take out, and as many of another to put in."""

    item: int
    out: int
    into: int
    units: int


@dataclass(frozen=True)
class KitMoves:
    """What to do to a kit while it is open."""

    kit: int
    fills: tuple[Fill, ...]
    swaps: tuple[Swap, ...]

    @property
    def batches(self) -> set[int]:
        """All that are moved."""
        return {fill.batch for fill in self.fills} | {
            batch for each in self.swaps for batch in (each.out, each.into)
        }


def moves(rotation: Rotation) -> list[KitMoves]:
    """What to do, in the order of the work: a kit whose units lie on the shelves before one that
    gets what comes out of another kit."""
    stock = rotation.stock
    by_kit = grouped((spot.kit, at) for at, spot in enumerate(stock.spots) if spot.kit is not None)
    steps = [
        step
        for kit, spots in by_kit.items()
        if (step := _of_kit(rotation, kit, spots)).fills or step.swaps
    ]
    return list(_in_order(rotation, steps))


def _of_kit(rotation: Rotation, kit: int, spots: Sequence[int]) -> KitMoves:
    fills: list[Fill] = []
    swaps: list[Swap] = []
    for at in spots:
        stock = rotation.stock
        item, before = stock.spots[at].item, Counter(stock.spots[at].holds)
        after = Counter(rotation.after[at])
        out = _units(rotation, before - after)
        into = _units(rotation, after - before)
        pairs = Counter(zip(out, into, strict=False))
        swaps += [Swap(item, a, b, units) for (a, b), units in pairs.items()]
        fills += [Fill(item, b, units) for b, units in Counter(into[len(out) :]).items()]
    return KitMoves(kit, tuple(fills), tuple(swaps))


def _units(rotation: Rotation, holds: Counter[int]) -> list[int]:
    return [b.id for b, units in rotation.stock.in_order(holds) for _ in range(units)]


def _in_order(rotation: Rotation, steps: Sequence[KitMoves]) -> Iterator[KitMoves]:
    shelf = sum(
        (Counter(spot.holds) for spot in rotation.stock.spots if spot.kit is None), Counter[int]()
    )
    left = list(steps)
    while left:
        # Where two kits wait for each other, the first has its units laid on the shelf.
        step = next((each for each in left if not (_wants(each) - shelf)), left[0])
        left.remove(step)
        for each in step.swaps:
            shelf[each.out] += each.units
        shelf.subtract(_wants(step))
        yield step


def _wants(step: KitMoves) -> Counter[int]:
    wanted = Counter({fill.batch: fill.units for fill in step.fills})
    for each in step.swaps:
        wanted[each.into] += each.units
    return wanted
