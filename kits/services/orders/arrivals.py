"""What arrives of orders. That something came is a fact, whatever was ordered: it meets the oldest
open line of its item in its room, and what is more than ordered, or in other packs, is written
down as it came."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid
from gearroom.core.models import Room
from kits.models import Item, Order, OrderArrival, OrderLine, Receipt, Supplier
from kits.rules.buying import orders as rules
from kits.services.orders.on_order import progress


@dataclass(frozen=True)
class Met:
    """A line of an order, with how many units that arrived are of it, and what became of it so."""

    line: OrderLine
    units: int
    now: rules.Progress

    @property
    def order(self) -> Order:
        """The order that it is of."""
        return self.line.order


def meet(
    room: Room, item: Item, units: int, *, order: Order | None = None, supplier: str = ""
) -> list[Met]:
    """Which lines so many units of an item that arrive in a room are of: those of an order first,
    where one is named; then the open ones, of its supplier or of the one named. Their rows are
    locked until the transaction ends. Raises Invalid where the order has no line of the item, or is
    of another room or a draft."""
    rows = OrderLine.objects.filter(item=item, order__room=room, order__ordered_at__isnull=False)
    own = set(rows.filter(order=order).values_list("pk", flat=True)) if order else set()
    if order is not None:
        if not own:
            raise Invalid(
                _("This order has no %(item)s for %(room)s. Choose another order, or none.")
                % {"item": item.name, "room": room.name},
                field="order",
            )
        rows = rows.filter(order__supplier=order.supplier_id)
    elif supplier:
        tidy = " ".join(supplier.split())
        named = Q(name__iexact=tidy) | Q(names__name__iexact=tidy)
        rows = rows.filter(order__supplier__in=Supplier.objects.filter(named))
    # Locked first and read afterwards: whoever waited sees what the other's units were of.
    locked = rows.select_for_update(of=("self",)).order_by("pk")
    lines = OrderLine.objects.filter(pk__in=list(locked.values_list("pk", flat=True)))
    there = list(lines.open().select_related("order__supplier", "item"))
    if (
        own.isdisjoint(line.pk for line in there) and own
    ):  # it has all that was ordered: this is more
        more = OrderLine.objects.placed().filter(pk__in=own)
        there = list(more.select_related("order__supplier", "item"))
    there.sort(key=lambda line: line.pk not in own)
    if not there:
        return []
    before = [progress(line) for line in there]
    taken = rules.meet(before, units)
    return [
        Met(line, count, rules.Progress(was.ordered, was.arrived + count, was.cancelled))
        for line, was, count in zip(there, before, taken, strict=True)
        if count
    ]


def price(met: Sequence[Met]) -> tuple[Decimal, str] | None:
    """What the units that arrived cost by their order, tax included, and in which currency; None
    where more came than was ordered, or they are of orders in several currencies."""
    currencies = {each.order.currency for each in met}
    if len(currencies) != 1 or any(each.now.extra for each in met):
        return None
    amount = sum((each.line.each * each.units / each.line.pack_units for each in met), Decimal(0))
    return amount.quantize(Decimal("0.01")), currencies.pop()


def ordered_on(met: Sequence[Met]) -> date | None:
    """The day on which the oldest of them was ordered."""
    return min((each.order.ordered_on for each in met if each.order.ordered_on), default=None)


def write(receipt: Receipt, met: Sequence[Met], pack_units: int | None) -> None:
    """Write down which lines a receipt is of."""
    OrderArrival.objects.bulk_create(
        OrderArrival(line=each.line, receipt=receipt, units=each.units, pack_units=pack_units)
        for each in met
    )
