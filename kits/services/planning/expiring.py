"""What of the batches in a kit will go out of date unused, used in the order of their dates."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from kits.models import Holding, Kit, Lot
from kits.rules.planning import demand as demands, waste
from kits.rules.planning.waste import Batch
from kits.services.planning.plans import DAYS_A_YEAR, LinePlan, Plan

LIKELY, SOON_DAYS = 0.5, 183
"""It is said to use a batch first of which so large a share is expected to go out of date unused
within so many days."""


@dataclass(frozen=True)
class BatchInKit:
    """Units of a batch in a kit, and how many of them are expected to go out of date unused."""

    lot: Lot
    units: int
    unused: float
    days_left: int

    @property
    def use_first(self) -> bool:
        """Whether most of it is expected to go unused soon."""
        return self.days_left <= SOON_DAYS and self.unused >= LIKELY * self.units


def of_kit(kit: Kit, plan: Plan, today: date) -> Mapping[int, Sequence[BatchInKit]]:
    """The dated batches in a kit that are still good, by item, of those whose needs have rates."""
    held: dict[int, list[tuple[Lot, int]]] = defaultdict(list)
    rows = Holding.objects.on_hand().filter(place__kit=kit, lot__expiry__gte=today)
    for row in rows.select_related("lot").order_by("lot__expiry", "lot_id"):
        of_item = held[row.lot.item_id]
        if of_item and of_item[-1][0].pk == row.lot_id:
            of_item[-1] = (row.lot, of_item[-1][1] + row.units)
        else:
            of_item.append((row.lot, row.units))
    lines = {each.line.item_id: each for each in plan.lines}
    return {
        item: batches
        for item, of_item in held.items()
        if item in lines and (batches := _unused(lines[item], of_item, plan.yearly_days, today))
    }


def _unused(
    line: LinePlan, held: Sequence[tuple[Lot, int]], yearly_days: float, today: date
) -> list[BatchInKit]:
    if line.demand is None:
        return []
    asks = [
        (part.rate.rate, demands.units_of_use(part.units_per_use))
        for part in line.needs
        if part.rate.rate is not None
    ]
    rate, units = demands.combined(asks)
    left = [(lot.expiry - today).days if lot.expiry else 0 for lot, _units in held]
    batches = [
        Batch(count, yearly_days * days / DAYS_A_YEAR)
        for (_lot, count), days in zip(held, left, strict=True)
    ]
    unused = waste.expires_unused(waste.Wants(rate, units), batches)
    return [
        BatchInKit(lot, count, each.mean, days)
        for (lot, count), each, days in zip(held, unused, left, strict=True)
    ]
