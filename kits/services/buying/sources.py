"""From whom things are ordered: who offers a unit for least, or else who delivered it last."""

from collections.abc import Iterable

from gearroom.core.rules.grouping import grouped
from kits.models import Receipt
from kits.services.stock import offers


def suppliers_of(items: Iterable[int]) -> dict[int, str]:
    """From whom to order items (ids), by name. Who offers a unit for least, tax included, where all
    offers of it are in one currency; else who delivered it last, where that is known."""
    ids = set(items)
    if not ids:
        return {}
    last = (
        Receipt.objects.filter(lot__item__in=ids, entry__reversed_by__isnull=True)
        .exclude(supplier="")
        .order_by("entry__occurred_at", "id")
        .values_list("lot__item", "supplier")
    )
    found = dict(last)
    rows = grouped((row.item_id, row) for row in offers.in_force().filter(item__in=ids))
    for item, of_item in rows.items():
        if len({row.currency for row in of_item}) == 1:
            best = min(
                of_item, key=lambda row: (offers.as_rule(row).prices[0].each / row.units, row.pk)
            )
            found[item] = best.supplier.name
    return found
