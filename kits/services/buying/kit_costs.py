"""What kits would cost to buy in parts."""

from collections import Counter
from collections.abc import Iterable
from decimal import ROUND_UP

from gearroom.core.rules.grouping import grouped, summed
from kits.models import Kit, ListLine
from kits.rules.buying.buy_or_build import parts
from kits.rules.buying.season import PENNY, Offer, Price
from kits.services.planning.plans import purchases
from kits.services.stock import offers
from kits.services.trips.season.ways import ContentsCost


def contents_costs(kits: Iterable[Kit]) -> dict[int, ContentsCost]:
    """What a kit's list says that it carries costs, by the kits' ids: at the offers in force, else
    at the last price paid, tax included, all in the currency of most of these. A kit of which
    nothing has a price is left out."""
    version = {kit.pk: kit.list_version_id for kit in kits}
    lines = ListLine.objects.filter(section__version__in=set(version.values()))
    carried = grouped(
        (of, (item, carry))
        for of, item, carry in lines.filter(item__by_eye=False)
        .order_by("id")
        .values_list("section__version", "item", "carry")
    )
    items = {item for rows in carried.values() for item, _ in rows}
    currency = _currency(items)
    by_item = grouped((offer.item, offer) for offer in part_offers(items, currency))
    costs = {}
    for of, rows in carried.items():
        wanted = summed(rows)
        found = parts(wanted, by_item)
        if found.money:
            costs[of] = ContentsCost(found.money, currency, len(found.unpriced))
    return {pk: costs[of] for pk, of in version.items() if of in costs}


def part_offers(items: set[int], currency: str) -> list[Offer]:
    """What items are offered for in a currency; of what nobody offers, the last price paid for a
    unit."""
    rows = offers.in_force().filter(item__in=items, currency=currency)
    found = [offers.as_rule(row) for row in rows]
    paid = purchases(items - {offer.item for offer in found})
    return found + [
        Offer(-item, item, 0, 1, currency, (Price(1, each.price.quantize(PENNY, ROUND_UP)),))
        for item, each in paid.items()
        if each.price is not None and each.currency == currency
    ]


def _currency(items: set[int]) -> str:
    """The one in which most of what is known of items is."""
    known = Counter(offers.in_force().filter(item__in=items).values_list("currency", flat=True))
    known.update(each.currency for each in purchases(items).values() if each.price is not None)
    return max(known, key=lambda currency: (known[currency], currency), default="")
