"""Orders against what was written of them: the days they were placed and expected, what was
cancelled of them, and the deliveries that came for them."""

from collections.abc import Iterator
from itertools import chain

from django.db.models import Sum

from gearroom.core.rules.grouping import summed
from kits.models import Order, OrderArrival, OrderChange, OrderFact, OrderLine
from kits.services.ledger.audit import Finding


def findings() -> Iterator[Finding]:
    """Every difference between what is stored with orders and what was written of them."""
    for text in chain(_placed(), _cancelled(), _arrived()):
        yield Finding("order", text)


def _placed() -> Iterator[str]:
    """Orders that are not as the last fact of placing them, or of taking that back, has them."""
    facts = OrderFact.objects.filter(what__in=(OrderChange.PLACED, OrderChange.TAKEN_BACK))
    latest = {fact.order_id: fact for fact in facts.order_by("id")}
    for order in Order.objects.order_by("pk").iterator():
        fact = latest.get(order.pk)
        stored = (order.ordered_on, order.expected_on, order.ordered_at, order.ordered_by_id)
        derived = (
            (fact.ordered_on, fact.expected_on, fact.at, fact.person_id)
            if fact is not None and fact.what == OrderChange.PLACED
            else (None, None, None, None)
        )
        if stored != derived:
            yield f"Order {order.pk}: placed as {stored} by its row, {derived} by its facts."


def _cancelled() -> Iterator[str]:
    """Lines of which less than nothing, or more than was ordered, is cancelled."""
    rows = OrderFact.objects.filter(line__isnull=False).values_list("line").order_by()
    sums = dict(rows.annotate(units=Sum("units")))
    for line in OrderLine.objects.filter(pk__in=sums):
        if not 0 <= sums[line.pk] <= line.units:
            yield f"Line {line.pk} of order {line.order_id}: {sums[line.pk]} units cancelled."


def _arrived() -> Iterator[str]:
    """Deliveries that came for another item or room, or for an order that is not placed, or of
    which other units were for orders than came."""
    rows = OrderArrival.objects.filter(receipt__entry__reversed_by__isnull=True)
    arrivals = list(rows.select_related("line__order", "receipt__lot", "receipt__entry"))
    for arrival in arrivals:
        line, receipt = arrival.line, arrival.receipt
        what = f"Delivery {receipt.pk} for order {line.order_id}"
        if receipt.lot.item_id != line.item_id:
            yield f"{what} is of item {receipt.lot.item_id}, and its line of {line.item_id}."
        if receipt.entry.room_id != line.order.room_id:
            yield f"{what} came to another room."
        if line.order.ordered_at is None:
            yield f"{what} came for an order that is not placed."
    units = summed((arrival.receipt_id, arrival.units) for arrival in arrivals)
    came = {arrival.receipt_id: arrival.receipt.units for arrival in arrivals}
    for pk, count in units.items():
        if count != came[pk]:
            yield f"Delivery {pk}: {came[pk]} units came, {count} of them for orders."
