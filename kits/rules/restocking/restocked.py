"""A kit as it is once its restock list has been followed."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from kits.rules.ledger import Batch, KitState, Level, Units
from kits.rules.ledger.readiness import fit_days
from kits.rules.restocking.picking import RestockList
from kits.rules.restocking.shelves import Shelves


def restocked(kit: KitState, todo: RestockList, today: date) -> KitState:
    """The kit after everything on the list was done: looked inside today and sorted. What is loose
    is full where there is some to fill it up with."""
    after: Counter[tuple[Batch, str, bool]] = Counter()
    for x in kit.units:
        after[x.batch, x.place, x.training] += x.count
    for out in todo.take_out:
        after[replace(out.batch, undated_until=None), out.section, out.training] -= out.count
    for put in todo.put_in:
        after[put.batch, put.section, False] += put.count
    filled = {
        (row.section, row.thing.id): Level.FULL for row in todo.fill_up if row.batch is not None
    }
    return replace(
        kit,
        units=tuple(
            Units(batch, place, count, training)
            for (batch, place, training), count in after.items()
            if count
        ),
        levels={**kit.levels, **filled},
        looked_inside_on=today,
        waiting_to_be_sorted=False,
    )


def fit_after_restocking(
    kit: KitState, stock: dict[int, list[Units]], throughs: Sequence[date], today: date
) -> date | None:
    """Until when a kit would be fit that alone is restocked now from shelves (what they hold, by
    thing), to last through one of these days: the latest of them; None where it would not be."""
    untils = (
        fit_days(restocked(kit, Shelves(stock).settle(kit, through, today), today)).fit_until
        for through in throughs
    )
    return max((until for until in untils if until is not None), default=None)
