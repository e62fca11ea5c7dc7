"""What shelves hold, given out kit by kit."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from gearroom.core.rules.grouping import grouped, summed
from kits.rules.ledger import KitState, Units
from kits.rules.restocking.picking import RestockList, restock


@dataclass
class Shelves:
    """What a room's shelves hold, by thing, given out kit by kit: what one kit is to get is no
    longer there for the next."""

    units: dict[int, list[Units]]
    taken: Counter[tuple[int, str]] = field(default_factory=Counter)

    def settle(self, state: KitState, through: date, today: date) -> RestockList:
        """What makes a kit as good as what is left here can make it."""
        wanted = {line.thing.id for line in state.lines}
        wanted.update(*(line.instead for line in state.lines))
        there = [
            Units(x.batch, x.place, left, x.training)
            for thing in sorted(wanted)
            for x in self.units.get(thing, ())
            if (left := x.count - self.taken[x.batch.id, x.place]) > 0
        ]
        listed = restock(state, there, through=through, today=today)
        self.taken.update(summed(((row.batch.id, row.shelf), row.count) for row in listed.put_in))
        return listed


def shelves_of(units: Iterable[Units]) -> dict[int, list[Units]]:
    """Units on shelves by thing."""
    return grouped((x.batch.thing.id, x) for x in units)
