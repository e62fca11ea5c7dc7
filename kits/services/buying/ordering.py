"""Ordering: a draft becomes an order, what is not coming is cancelled, and both are put right.

What arrives is no act of its own here: it is received (`kits.services.stock.receiving`).
"""

from collections.abc import Iterable
from datetime import date, timedelta

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused, locked, store
from kits.models import Order, OrderChange, OrderFact, OrderLine
from kits.rules.buying import receipts
from kits.services.buying.drafting import draft_of
from kits.services.orders import on_order, orders
from kits.services.orders.orders import OrderStands
from kits.services.stock.order_levels import deliveries

LONGEST_DAYS = 730


@transaction.atomic
def place(
    act: Act, order: Order, *, ordered_on: date | None = None, expected_on: date | None = None
) -> OrderStands:
    """Record that a draft was ordered: on a day (today unless given), and by when it is expected
    (as long as deliveries of its things take, unless given). Raises Invalid, Stale; Refused
    (`ordered-already`, `order-empty`)."""
    act.actor.require("receive", order.room_id)
    order = draft_of(act, order)
    lines = list(order.lines.select_related("item"))
    if not lines:
        raise Refused("order-empty", _("There is nothing in this order. Add a line first."))
    today = clock.today(order.room.time_zone)
    on = ordered_on or today
    if not 0 <= (today - on).days <= LONGEST_DAYS:
        raise Invalid(
            _("Enter the day of the order: today or an earlier day, at most two years ago."),
            field="ordered_on",
        )
    expected = expected_on or on + timedelta(days=usual_days(order, lines))
    if not 0 <= (expected - on).days <= LONGEST_DAYS:
        raise Invalid(
            _(
                "Enter the day on which the delivery is expected: not before the day of the order, "
                "and at most two years after it."
            ),
            field="expected_on",
        )
    _fact(act, order, OrderChange.PLACED, ordered_on=on, expected_on=expected)
    store(
        order, ordered_on=on, expected_on=expected, ordered_by=act.person,
        ordered_at=act.received_at, revision=order.revision + 1,
    )  # fmt: skip
    return orders.fresh(order)


def usual_days(order: Order, lines: Iterable[OrderLine]) -> int:
    """How many days deliveries of these lines take from this supplier: the longest of them."""
    items = {line.item_id: line.item for line in lines}
    learned = deliveries.learned(items).lead_times
    return max(
        (
            receipts.lead_days(learned.get((pk, order.supplier.name)), item.lead_time_days)
            for pk, item in items.items()
        ),
        default=0,
    )


@transaction.atomic
def take_back(act: Act, order: Order) -> OrderStands:
    """Record that an order was not ordered after all: it is a draft again. Raises Refused
    (`not-ordered`; `order-begun` once something arrived or was cancelled; `draft-open`)."""
    row = _placed(act, order)
    list(row.lines.select_for_update().order_by("pk"))
    if orders.fresh(row).is_begun:
        raise Refused(
            "order-begun",
            _("Part of this order has already arrived or been cancelled. Cancel the rest."),
        )
    _fact(act, row, OrderChange.TAKEN_BACK)
    try:
        with transaction.atomic():
            store(
                row, ordered_on=None, expected_on=None, ordered_by=None, ordered_at=None,
                revision=row.revision + 1,
            )  # fmt: skip
    except IntegrityError:
        raise Refused(
            "draft-open",
            _(
                "There is already another draft of an order to %(supplier)s. Discard that draft "
                "first."
            )
            % {"supplier": row.supplier.name},
        ) from None
    return orders.fresh(row)


@transaction.atomic
def cancel_rest(act: Act, order: Order, line: int | None = None) -> OrderStands:
    """Record that what has not arrived of an order will not come; of one `line` (id) of it, where
    given. Raises Refused (`not-ordered`, `nothing-open`)."""
    row, lines = _lines(act, order, line)
    left = {each: on_order.progress(each).open for each in lines}
    if not any(left.values()):
        raise Refused("nothing-open", _("None of this is still to come."))
    for each, units in left.items():
        if units:
            _fact(act, row, OrderChange.CANCELLED, line=each, units=units)
    return orders.fresh(row)


@transaction.atomic
def await_again(act: Act, order: Order, line: int | None = None) -> OrderStands:
    """Record that what was cancelled is coming after all. Raises Refused (`not-ordered`,
    `nothing-open`)."""
    row, lines = _lines(act, order, line)
    gone = {each: on_order.progress(each).cancelled for each in lines}
    if not any(gone.values()):
        raise Refused("nothing-open", _("None of this was cancelled."))
    for each, units in gone.items():
        if units:
            _fact(act, row, OrderChange.AWAITED, line=each, units=-units)
    return orders.fresh(row)


def _lines(act: Act, order: Order, line: int | None) -> tuple[Order, list[OrderLine]]:
    """An order that was placed, and its lines (or the one given) with their progress, locked."""
    row = _placed(act, order)
    rows = row.lines.all() if line is None else row.lines.filter(pk=line)
    ids = list(rows.select_for_update().order_by("pk").values_list("pk", flat=True))
    if not ids:
        raise Invalid(_("This order has no such line. Reload the page."), field="line")
    return row, list(OrderLine.objects.with_progress().filter(pk__in=ids).order_by("pk"))


def _placed(act: Act, order: Order) -> Order:
    act.actor.require("receive", order.room_id)
    row = locked(act, order)
    if row.ordered_at is None:
        raise Refused(
            "not-ordered",
            _("This order has not been sent to the supplier yet. Change the draft, or discard it."),
        )
    return row


def _fact(
    act: Act,
    order: Order,
    what: OrderChange,
    *,
    line: OrderLine | None = None,
    units: int = 0,
    ordered_on: date | None = None,
    expected_on: date | None = None,
) -> None:
    OrderFact.objects.create(
        order=order, what=what, line=line, units=units, ordered_on=ordered_on,
        expected_on=expected_on, person=act.person, at=act.received_at,
    )  # fmt: skip
