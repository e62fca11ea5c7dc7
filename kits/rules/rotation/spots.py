"""What lies where, and how much of it is expected to go out of date there unused.

A spot is where units of one item lie: a line of a kit, or the shelves of a room. All money is of
one currency. Days count from today. Only what goes out of date within the horizon counts: what
keeps for longer will be laid elsewhere before then, and a fresh pack that is wasted in three years
is a smaller loss than one each season.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Self

import numpy as np

from kits.rules.planning.demand import Rate, demand
from kits.rules.planning.waste import Batch, Wants, expires_unused

HORIZON_DAYS = 365
Holds = Mapping[int, int]
"""Units (1 or more) of batches, by their id."""
Holding = tuple[Holds, ...]
"""What each spot holds, in the order of the spots."""


@dataclass(frozen=True)
class DatedBatch:
    """A batch of an item: still good for so many `days` after today (0 or more), at what a unit of
    it cost (0 or more)."""

    id: int
    item: int
    days: int
    price: float

    def __post_init__(self) -> None:
        if self.days < 0 or self.price < 0:
            raise ValueError("A batch is good today, and its price 0 or more.")


@dataclass(frozen=True)
class Use:
    """How an item is used up at a spot: its rate, the units of a use as `units_of_use` gives them,
    and the participant-days that come to the spot a day (0 or more)."""

    rate: Rate
    units: tuple[float, ...]
    exposure_a_day: float

    def fewer_wanted(self, days: int, places: int) -> tuple[float, ...]:
        """The chances that fewer than 1, 2 … `places` units are wanted in so many days."""
        if self.exposure_a_day <= 0:
            return (1.0,) * places
        exposure = self.exposure_a_day * days
        wanted = demand(self.rate, exposure, np.asarray(self.units), places).cumsum()
        return tuple(float(wanted[min(i, len(wanted) - 1)]) for i in range(places))


@dataclass(frozen=True)
class Spot:
    """Units of one item in one place: in a kit, or on the shelves of the room (`kit` None).

    `wants`: how many a kit should have. What is put into it has to last `lasts` days or more. `use`
    None: nothing is known of it, so nothing of what lies there is counted on being used.
    """

    item: int
    kit: int | None
    holds: Holds
    wants: int = 0
    lasts: int = 0
    use: Use | None = None

    @property
    def units(self) -> int:
        """How many lie there."""
        return sum(self.holds.values())


@dataclass(frozen=True, eq=False)
class Stock:
    """All spots of some items, one of them the shelves of each item, the batches by id, and how
    many days ahead waste counts."""

    batches: Mapping[int, DatedBatch]
    spots: tuple[Spot, ...]
    horizon_days: int

    @classmethod
    def of(
        cls,
        batches: Sequence[DatedBatch],
        spots: Sequence[Spot],
        horizon_days: int = HORIZON_DAYS,
    ) -> Self:
        """Raises ValueError where a batch is not known, of another item, or an item has not just
        one spot on the shelves."""
        known = MappingProxyType({batch.id: batch for batch in batches})
        for spot in spots:
            if any(b not in known or known[b].item != spot.item for b in spot.holds):
                raise ValueError("A spot holds known batches of its item.")
        shelves = [spot.item for spot in spots if spot.kit is None]
        if sorted(shelves) != sorted({spot.item for spot in spots}):
            raise ValueError("Each item has one spot on the shelves.")
        return cls(known, tuple(spots), horizon_days)

    @cached_property
    def _wants(self) -> dict[tuple[Rate, tuple[float, ...]], Wants]:
        return {}

    @cached_property
    def _left(self) -> dict[tuple[Use, tuple[tuple[int, int], ...]], tuple[float, ...]]:
        return {}

    @cached_property
    def _fewer(self) -> dict[tuple[Use, int, int], tuple[float, ...]]:
        return {}

    @cached_property
    def _waste(self) -> dict[tuple[int, tuple[tuple[int, int], ...]], float]:
        return {}

    def fewer_wanted(self, use: Use, days: int, places: int) -> tuple[float, ...]:
        """As `Use.fewer_wanted`, once for all spots that use alike."""
        key = use, days, places
        if key not in self._fewer:
            self._fewer[key] = use.fewer_wanted(days, places)
        return self._fewer[key]

    @property
    def now(self) -> Holding:
        """What lies where now."""
        return tuple(spot.holds for spot in self.spots)

    def in_order(self, holds: Holds) -> list[tuple[DatedBatch, int]]:
        """Batches with their units, in the order in which they are used: first expired first."""
        rows = [(self.batches[batch], units) for batch, units in holds.items() if units]
        return sorted(rows, key=lambda row: (row[0].days, row[0].id))

    def counts(self, batch: int) -> bool:
        """Whether the batch goes out of date within the horizon."""
        return self.batches[batch].days <= self.horizon_days

    def unused(self, at: int, holds: Holds) -> dict[int, float]:
        """How many units of each batch are expected to go out of date unused within the horizon
        where the spot with this index holds them: by the recursion over batches in order of expiry.
        """
        # What goes out of date later takes nothing from what goes before it.
        rows = [row for row in self.in_order(holds) if self.counts(row[0].id)]
        use = self.spots[at].use
        if use is None or use.exposure_a_day <= 0:
            return {batch.id: float(units) for batch, units in rows}
        left = self._left_of(use, tuple((batch.days, units) for batch, units in rows))
        return {batch.id: mean for (batch, _), mean in zip(rows, left, strict=True)}

    def _left_of(self, use: Use, rows: tuple[tuple[int, int], ...]) -> tuple[float, ...]:
        """Of batches by their days and units, in order; once for all spots that use alike."""
        if (use, rows) not in self._left:
            of = use.rate, use.units
            wants = self._wants.setdefault(of, Wants(use.rate, np.asarray(use.units)))
            batches = [Batch(units, use.exposure_a_day * days) for days, units in rows]
            self._left[use, rows] = tuple(each.mean for each in expires_unused(wants, batches))
        return self._left[use, rows]

    def waste(self, at: int, holds: Holds) -> float:
        """The money of what is expected to go out of date there."""
        key = at, tuple(sorted(holds.items()))
        if key not in self._waste:
            left = self.unused(at, holds)
            self._waste[key] = sum(self.batches[b].price * units for b, units in left.items())
        return self._waste[key]

    def waste_of(self, holding: Holding) -> float:
        """The money of all that is expected to go out of date where the spots hold this."""
        return sum(self.waste(at, holds) for at, holds in enumerate(holding))

    def unused_of(self, holding: Holding) -> float:
        """The units of it."""
        return sum(sum(self.unused(at, holds).values()) for at, holds in enumerate(holding))
