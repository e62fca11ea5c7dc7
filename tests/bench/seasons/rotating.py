"""Laying what goes out of date soon where it is used: as the program says, on the first Monday of
every third month."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from kits.rules.planning.demand import Rate, units_of_use
from kits.rules.rotation.rotation import rotate
from kits.rules.rotation.spots import HORIZON_DAYS, DatedBatch, Spot, Stock as Laid, Use
from tests.bench.seasons.school import FOR_EVER, KITS, PUT_IN_FOR_DAYS, Stock

MONTHS = 3
SECONDS = 0.5
"""For one item; exchanges come on top."""
OPENED_WITHIN_DAYS = 28
DISPERSION = 2.0
"""Bad weeks are bad in all: uses come in lumps."""


@dataclass
class Rotator:
    """Who rotates, knowing what share of the school's days each kit is out, and what one opening
    of a kit only for this must save, in money."""

    shares: Sequence[float]
    opening: float
    openings: int = 0
    """Kits opened only for this."""
    swapped: int = 0
    """Units that changed places."""

    def __call__(self, stock: Stock) -> None:
        monday = stock.today.weekday() == 0 and stock.today.day <= 7
        if monday and stock.today.month % MONTHS == 1:
            self._rotate(stock)

    def _rotate(self, stock: Stock) -> None:
        opened = self._opened(stock)
        for_this: set[int] = set()
        for ware in stock.school.wares:
            # Ware by ware: what is opened for one costs nothing more for the next.
            found = self._laid(stock, ware.number, opened | for_this)
            if found is None:
                continue
            laid, spots, days = found
            result = rotate(laid, opened | for_this, self.opening, seconds=SECONDS)
            for_this |= result.opened_for_it
            for spot, before, after in zip(spots, laid.now, result.after, strict=True):
                held = Counter({days[batch]: units for batch, units in after.items()})
                if spot.kit is None:
                    keeps_on = stock.shelf[ware.number][FOR_EVER]
                    stock.shelf[ware.number] = held
                    if keeps_on:
                        held[FOR_EVER] += keeps_on
                else:
                    stock.kits[spot.kit, ware.number] = held
                    self.swapped += sum((Counter(after) - Counter(before)).values())
        self.openings += len(for_this)

    def _opened(self, stock: Stock) -> frozenset[int]:
        """Kits that something was taken out of within four weeks, or that lack something."""
        carry = sum(ware.carry for ware in stock.school.wares)
        return frozenset(
            kit
            for kit in range(KITS)
            if stock.opened_on.get(kit, -OPENED_WITHIN_DAYS) > stock.day - OPENED_WITHIN_DAYS
            or sum(sum(stock.kits[kit, w.number].values()) for w in stock.school.wares) < carry
        )

    def _laid(
        self, stock: Stock, ware: int, opened: frozenset[int] | set[int]
    ) -> tuple[Laid, list[Spot], dict[int, int]] | None:
        """A ware as the rule wants it, with the last day of each batch; None where nothing of it
        goes out of date within a year."""
        held = [stock.kits[kit, ware] for kit in range(KITS)] + [stock.shelf[ware]]
        lasts = sorted({last for each in held for last in each if last != FOR_EVER})
        if (
            not lasts
            or lasts[0] - stock.day > HORIZON_DAYS
            or stock.school.wares[ware].keeps is None
        ):
            return None
        number = {last: n for n, last in enumerate(lasts)}
        price = stock.worth[ware] / 100
        rate, units = self._rate(stock, ware)
        spots = [
            Spot(
                ware,
                kit if kit < KITS else None,
                {number[last]: n for last, n in each.items() if n},
                wants=stock.school.wares[ware].carry if kit < KITS else 0,
                lasts=PUT_IN_FOR_DAYS if kit < KITS else 0,
                use=Use(rate, units, self.shares[kit] if kit < KITS else 1.0),
            )
            for kit, each in enumerate(held)
        ]
        batches = [DatedBatch(n, ware, last - stock.day, price) for last, n in number.items()]
        return Laid.of(batches, spots), spots, dict(enumerate(lasts))

    def _rate(self, stock: Stock, ware: int) -> tuple[Rate, tuple[float, ...]]:
        """Uses a day of the whole school, and units a use, of what is on record."""
        sizes = Counter(units for _, of, units in stock.used if of == ware)
        uses = sum(sizes.values())
        chances = [sizes[n] / uses for n in range(1, max(sizes) + 1)] if uses else [1.0]
        rate = Rate(uses + 0.5, stock.day + 90.0, DISPERSION)
        return rate, tuple(units_of_use(chances).tolist())
