"""What classes need of each item, and what is ordered for them on top of what kits need.

What was set aside for training comes first, whatever its date; then what an order for the kits
leaves over. Only the rest is bought, with what the budget leaves: no kit goes without for a class.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal

from gearroom.core.rules.grouping import summed
from kits.rules.buying import order_plan
from kits.rules.buying.order_plan import Plan
from kits.rules.buying.season import ENOUGH, Offer, Order, Season, Supplier, Want
from kits.rules.buying.season_costs import left_over
from kits.rules.ledger import KitState, Units
from kits.rules.ledger.facts import Criticality
from kits.rules.restocking.shelves import Shelves, shelves_of

NOTHING = Decimal(0)
ENOUGH_FOR_CLASS = ENOUGH[Criticality.ROUTINE]
"""How sure it should be that classes have enough."""


def needed(
    kits: Iterable[KitState],
    aside: Iterable[Units],
    used: Mapping[int, tuple[float, ...]],
    today: date,
) -> dict[int, int]:
    """How many units of each item (id) classes need besides what is set `aside` for them: what
    training kits lack, and what is used up in class in the season (`used`: chances of 0, 1, 2 …
    units)."""
    rows = list(aside)
    shelves = Shelves(shelves_of(rows))
    lists = [shelves.settle(kit, today, today) for kit in kits]
    lacked = summed((row.thing.id, row.count) for each in lists for row in each.missing)
    left = summed((x.batch.thing.id, x.count) for x in rows)
    for put in (row for each in lists for row in each.put_in):
        left[put.thing.id] -= put.count
    wanted = {item: lacked[item] + _enough(used.get(item, (1.0,))) for item in {*lacked, *used}}
    return {item: more for item, n in sorted(wanted.items()) if (more := n - left[item]) > 0}


def _enough(chances: tuple[float, ...]) -> int:
    sure = 0.0
    for units, chance in enumerate(chances):
        sure += chance
        if sure >= ENOUGH_FOR_CLASS:
            return units
    return len(chances)


def plan(season: Season, *, seconds: float = order_plan.SECONDS) -> Plan:
    """The plan for what kits need, and on top of it what classes need besides. What it comes to,
    and what no order goes below, are of the kits' part."""
    of_kits = order_plan.plan(season, seconds=seconds)
    for_class = _season(season, of_kits.order)
    if not for_class.offers:
        return of_kits
    more = order_plan.plan(for_class, seconds=seconds).order
    both = Order(dict(summed((*of_kits.order.packs.items(), *more.packs.items()))))
    return replace(of_kits, order=both) if both.may_be(season) else of_kits


def _season(season: Season, order: Order) -> Season:
    """What classes need beyond what an order leaves for them. Who delivers anyway charges no more
    for that."""
    wants = tuple(
        Want(want.item, more, (1.0,))
        for want in season.wants
        if want.item in season.offered
        and (more := want.for_class - left_over(want, order.units(season, want.item))) > 0
    )
    items = {want.item for want in wants}
    delivers = order.goods(season)
    budget = None if season.budget is None else max(NOTHING, season.budget - order.money(season))
    return replace(
        season,
        wants=wants,
        offers=tuple(_once_more(o, order) for o in season.offers if o.item in items),
        suppliers=tuple(Supplier(s.id) if s.id in delivers else s for s in season.suppliers),
        budget=budget,
    )


def _once_more(offer: Offer, order: Order) -> Offer:
    """An offer of which packs are ordered already has no least number of them."""
    if offer.id not in order.packs:
        return offer
    return replace(offer, prices=(replace(offer.prices[0], packs=1),))
