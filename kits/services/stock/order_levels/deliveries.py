"""What deliveries on record teach: how long things take to come and keep, and what they cost."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings

from gearroom.core import clock
from gearroom.core.models import Room
from kits.models import EntryKind, Item, Receipt
from kits.rules.buying import receipts as rules
from kits.rules.buying.receipts import Days, Delivery, Key, UnitPrice
from kits.services.stock import offers


@dataclass(frozen=True)
class Learned:
    """What deliveries say of items: for how many days things keep when they come and how many days
    they take to come, by item and supplier (None: from whomever); what a unit cost, by item, the
    oldest first."""

    shelf_lives: dict[Key, Days]
    lead_times: dict[Key, Days]
    prices: dict[int, list[UnitPrice]]


def learned(items: Iterable[int]) -> Learned:
    """What deliveries of items (ids) say."""
    known = deliveries(items)
    return Learned(rules.shelf_lives(known), rules.lead_times(known), rules.prices(known))


def deliveries(items: Iterable[int]) -> list[Delivery]:
    """The deliveries of items (ids) that were not undone, the oldest first, each by the name of the
    supplier that its own means; what came in a bought kit is none."""
    names = offers.names_of_suppliers()
    rows = Receipt.objects.filter(
        lot__item__in=set(items), entry__kind=EntryKind.RECEIVE, entry__reversed_by__isnull=True
    )
    return [
        Delivery(
            item=row.lot.item_id,
            supplier=names.get(" ".join(row.supplier.split()).casefold(), str(row.supplier)),
            came_on=clock.local_date(row.entry.occurred_at, settings.TIME_ZONE),
            units=row.units,
            price=row.price,
            currency=row.currency,
            expiry=row.lot.expiry,
            ordered_on=row.ordered_on,
        )
        for row in rows.select_related("lot", "entry").order_by("entry__occurred_at", "id")
    ]


def lead_days(items: Iterable[Item]) -> dict[int, int]:
    """How many days a delivery of each item takes, by id: as learned, once from enough deliveries
    that say when they were ordered, else as stated."""
    by_id = {item.pk: item for item in items}
    rows = Receipt.objects.filter(
        lot__item__in=by_id, ordered_on__isnull=False, entry__reversed_by__isnull=True
    ).values_list("lot__item", "supplier", "entry__occurred_at", "units", "ordered_on")
    times = rules.lead_times(
        Delivery(
            item,
            supplier,
            clock.local_date(came, settings.TIME_ZONE),
            units,
            ordered_on=ordered_on,
        )
        for item, supplier, came, units, ordered_on in rows
    )
    return {
        pk: rules.lead_days(times.get((pk, None)), item.lead_time_days)
        for pk, item in by_id.items()
    }


def last_prices(items: Iterable[int], room: Room) -> dict[int, Receipt]:
    """The latest delivery of each item (id) to a room that has a price, and was not undone."""
    rows = Receipt.objects.filter(
        lot__item__in=set(items),
        price__isnull=False,
        entry__room=room,
        entry__reversed_by__isnull=True,
    )
    return {row.lot.item_id: row for row in rows.select_related("lot").order_by("id")}
