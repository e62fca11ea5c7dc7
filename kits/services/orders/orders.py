"""Orders as they stand: how far each is, what became of its lines, and what it comes to."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from django.db.models import Prefetch, QuerySet

from gearroom.core.acts import Actor, one
from kits.models import Order, OrderArrival, OrderLine
from kits.rules.buying import orders as rules
from kits.rules.buying.orders import OrderState
from kits.services.orders.on_order import progress


@dataclass(frozen=True)
class LineStands:
    """A line of an order, what became of it, and the arrivals that were of it."""

    line: OrderLine
    progress: rules.Progress
    arrivals: Sequence[OrderArrival] = ()

    @property
    def cost(self) -> Decimal:
        """What its packs cost, tax included."""
        return self.line.packs * self.line.each


@dataclass(frozen=True)
class OrderStands:
    """An order with its lines."""

    order: Order
    lines: Sequence[LineStands]

    @cached_property
    def state(self) -> OrderState:
        """How far it is."""
        if self.order.dropped_at is not None:
            return OrderState.CANCELLED
        is_draft = self.order.ordered_at is None
        return rules.state((line.progress for line in self.lines), is_draft=is_draft)

    @property
    def goods(self) -> Decimal:
        """What its goods cost, tax included."""
        return sum((line.cost for line in self.lines), Decimal(0))

    @property
    def total(self) -> Decimal:
        """With delivery."""
        return self.goods + self.order.delivery

    @property
    def cancelled(self) -> int:
        """Units that were cancelled."""
        return sum(line.progress.cancelled for line in self.lines)

    @property
    def is_begun(self) -> bool:
        """Whether something arrived of it, or was cancelled, undone since or not."""
        return any(each.line.arrivals.all() or each.line.facts.all() for each in self.lines)


def visible_to(actor: Actor) -> QuerySet[Order]:
    """The orders of the rooms that somebody receives stock in, the latest first."""
    rows = in_full(Order.objects.all())
    return rows if actor.everywhere else rows.filter(room__in=actor.room_ids)


def in_full(rows: QuerySet[Order]) -> QuerySet[Order]:
    """With all that is shown of them."""
    lines = (
        OrderLine.objects.with_progress()
        .select_related("item", "offer")
        .prefetch_related("facts", "arrivals__receipt__entry__reversed_by")
        .order_by("item__name", "id")
    )
    return rows.select_related("room", "supplier", "made_by", "ordered_by").prefetch_related(
        Prefetch("lines", queryset=lines)
    )


def order(actor: Actor, pk: int) -> OrderStands:
    """An order by id. Raises NotFound where it is of another's room."""
    return stands(one(visible_to(actor).filter(pk=pk), "order", pk))


def fresh(row: Order) -> OrderStands:
    """An order as it stands now."""
    return stands(in_full(Order.objects.filter(pk=row.pk)).get())


def stands(row: Order) -> OrderStands:
    """How an order loaded `in_full` stands."""
    return OrderStands(
        row,
        [
            LineStands(
                line,
                progress(line),
                [a for a in line.arrivals.all() if not hasattr(a.receipt.entry, "reversed_by")],
            )
            for line in row.lines.all()
        ],
    )
