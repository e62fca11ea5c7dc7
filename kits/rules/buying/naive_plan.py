"""The order that somebody would write by hand: item by item, the gravest first, as many as are
enough, each where it costs least."""

from decimal import Decimal

from kits.rules.buying.season import ENOUGH, Offer, Order, Season
from kits.rules.buying.season_costs import enough_units


def naive_order(season: Season) -> Order:
    """Such an order; one that every supplier takes and the budget covers."""
    left_out: set[int] = set()
    while True:
        order = _by_item(season, left_out)
        goods = order.goods(season)
        too_small = {s for s, value in goods.items() if value < season.sellers[s].least_order}
        if not too_small:
            return order
        left_out |= too_small  # what they had is looked for elsewhere


def _by_item(season: Season, left_out: set[int]) -> Order:
    packs: dict[int, int] = {}
    goods: dict[int, Decimal] = {}
    money = Decimal(0)
    for want in sorted(season.wants, key=lambda want: (-ENOUGH[want.matters], want.item)):
        offers = [o for o in season.offered.get(want.item, ()) if o.supplier not in left_out]
        units = enough_units(want)
        for units_now in dict.fromkeys((units, min(units, max(0, want.short - want.on_hand)))):
            if not offers or units_now <= 0:
                continue
            offer, count = _cheapest(offers, units_now)
            seller, before = season.sellers[offer.supplier], goods.get(offer.supplier)
            after = (before or Decimal(0)) + offer.cost(count)
            paid = Decimal(0) if before is None else before + seller.charges(before)
            with_it = money - paid + after + seller.charges(after)
            if season.budget is None or with_it <= season.budget:
                packs[offer.id], goods[offer.supplier], money = count, after, with_it
                break
    return Order(packs)


def _cheapest(offers: list[Offer], units: int) -> tuple[Offer, int]:
    """The offer of which so many units cost least, with how many packs that is."""
    packs = {offer.id: max(offer.least, -(-units // offer.units)) for offer in offers}
    best = min(offers, key=lambda offer: (offer.cost(packs[offer.id]), offer.id))
    return best, packs[best.id]
