"""The order that somebody would write by hand: item by item, the gravest first, as many as are
enough, each where it costs least."""

from kits.rules.buying.season import ENOUGH, Offer, Order, Season, Want
from kits.rules.buying.season_costs import enough_units, most_packs


def naive_order(season: Season) -> Order:
    """Such an order; one that every supplier takes and the budget covers."""
    left_out: set[int] = set()
    while True:
        order = _by_item(season, left_out)
        suppliers = {supplier.id: supplier for supplier in season.suppliers}
        goods = order.goods(season)
        too_small = {s for s, value in goods.items() if value < suppliers[s].least_order}
        if not too_small:
            return order
        left_out |= too_small  # what they had is looked for elsewhere


def _by_item(season: Season, left_out: set[int]) -> Order:
    order = Order()
    for want in sorted(season.wants, key=lambda want: (-ENOUGH[want.matters], want.item)):
        offers = [o for o in season.offered.get(want.item, ()) if o.supplier not in left_out]
        units = enough_units(want)
        for units_now in dict.fromkeys((units, min(units, max(0, want.short - want.on_hand)))):
            line = _cheapest(season, want, offers, units_now)
            with_it = Order(order.packs | line)
            if season.budget is None or with_it.money(season) <= season.budget:
                order = with_it
                break
    return order


def _cheapest(season: Season, want: Want, offers: list[Offer], units: int) -> dict[int, int]:
    if not offers or units <= 0:
        return {}
    packs = {offer.id: max(offer.least, -(-units // offer.units)) for offer in offers}
    may = [o for o in offers if packs[o.id] <= most_packs(o, want, season)]
    best = min(may, key=lambda offer: (offer.cost(packs[offer.id]), offer.id))
    return {best.id: packs[best.id]}
