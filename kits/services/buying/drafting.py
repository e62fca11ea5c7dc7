"""Drafts of orders: made of what a season asks for, one for each supplier, and changed by hand.

A draft is no order yet: nothing counts on it. There is one for a room, supplier and currency, so
that pressing twice never orders twice.
"""

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused, locked, refuse_first
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Offer, Order, OrderLine
from kits.rules.buying.order_lines import Basis
from kits.rules.buying.season import Order as Packs
from kits.services.buying.season_order import Line, RoomSeason, lines_of, season_of
from kits.services.orders import orders
from kits.services.orders.orders import OrderStands
from kits.services.stock import offers
from kits.services.text.amounts import units as whole

MOST_PACKS, MOST_LINES = 10_000, 500


@transaction.atomic
def draft(
    act: Act,
    room: Room,
    *,
    packs: Mapping[int, int],
    through: date,
    currency: str,
    replace: bool = False,
) -> list[OrderStands]:
    """Draft orders of so many packs of offers (ids) for a room, one for each supplier. What they
    are for is worked out through a day. With `replace` they take the place of the room's drafts in
    that currency. Raises Invalid; Refused (`draft-open`) where there is a draft to one of the
    suppliers."""
    season = season_of(act.actor, room, through=through, currency=currency)
    rows = _offers(packs, currency)
    if not rows:
        raise Invalid(_("Enter how many packs to order, for at least one item."), field="lines")
    if replace:
        old = Order.objects.drafts().filter(room=room, currency=currency)
        old.update(dropped_at=act.received_at)
    lines = _lines(season, packs, Order.objects.drafts().filter(room=room, currency=currency))
    made = []
    for supplier, of_supplier in grouped((row.supplier, row) for row in rows.values()).items():
        try:
            with transaction.atomic():
                order = Order.objects.create(
                    room=room, supplier=supplier, currency=currency, through=through,
                    made_by=act.person, made_at=act.received_at,
                )  # fmt: skip
        except IntegrityError:
            raise Refused(
                "draft-open",
                _(
                    "There is already a draft of an order to %(supplier)s for %(room)s. Change, "
                    "discard or replace that draft."
                )
                % {"supplier": supplier.name, "room": room.name},
            ) from None
        _write(act, order, {row.pk: packs[row.pk] for row in of_supplier}, rows, lines)
        made.append(orders.fresh(order))
    return made


@transaction.atomic
def change(act: Act, order: Order, packs: Mapping[int, int]) -> OrderStands:
    """Have a draft order so many packs of offers (ids) of its supplier; 0: none. What it does not
    name stays. What all its lines are for is worked out again. Raises Invalid, Stale; Refused
    (`ordered-already`) where it is no draft."""
    act.actor.require("receive", order.room_id)
    order = draft_of(act, order)
    known = {line.offer_id: line.packs for line in order.lines.all()}
    new = {pk: count for pk, count in packs.items() if known.get(pk) != count}
    rows = _offers({pk: count for pk, count in new.items() if count}, order.currency)
    other = next((row for row in rows.values() if row.supplier_id != order.supplier_id), None)
    if other is not None:
        raise Invalid(
            _(
                "This order goes to %(supplier)s, but the offer for %(item)s is from another "
                "supplier. Draft a separate order for that supplier."
            )
            % {"supplier": order.supplier.name, "item": other.item.name},
            field="lines",
        )
    wanted = {pk: count for pk, count in {**known, **packs}.items() if count}
    _refuse_too_many(wanted)
    kept = offers.in_full(Offer.objects.filter(pk__in=wanted))
    tomorrow = clock.today(order.room.time_zone) + timedelta(days=1)
    order.through = max(order.through, tomorrow)
    season = season_of(act.actor, order.room, through=order.through, currency=order.currency)
    others = Order.objects.drafts().filter(room=order.room, currency=order.currency)
    lines = _lines(season, wanted, others.exclude(pk=order.pk))
    _write(act, order, wanted, {row.pk: row for row in kept}, lines)
    return orders.fresh(order)


@transaction.atomic
def drop(act: Act, order: Order) -> OrderStands:
    """Discard a draft. Raises Refused (`ordered-already`) where it is none."""
    act.actor.require("receive", order.room_id)
    order = draft_of(act, order)
    order.dropped_at = act.received_at
    order.save(update_fields=["dropped_at"])
    return orders.fresh(order)


def draft_of(act: Act, order: Order) -> Order:
    """The draft afresh, locked. Raises Stale, Refused (`ordered-already`)."""
    row = locked(act, order)
    if row.dropped_at is not None:
        raise Refused("ordered-already", _("This draft was discarded. Draft a new order."))
    if row.ordered_at is not None:
        raise Refused(
            "ordered-already",
            _("This was already ordered from %(supplier)s, by %(person)s.")
            % {
                "supplier": row.supplier.name,
                "person": row.ordered_by.name if row.ordered_by else _("a program"),
            },
        )
    return row


def _offers(packs: Mapping[int, int], currency: str) -> dict[int, Offer]:
    """The offers of which packs are ordered, as they are in force. Raises Invalid."""
    wanted = {pk: whole(count, field="lines", least=0) for pk, count in packs.items()}
    wanted = {pk: count for pk, count in wanted.items() if count}
    _refuse_too_many(wanted)
    rows = {row.pk: row for row in offers.in_force().filter(pk__in=wanted)}
    for pk, count in wanted.items():
        row = rows.get(pk)
        if row is None:
            text = _(
                "One of these offers has changed its price or been removed. Work the order out "
                "again."
            )
            raise Invalid(text, field="lines")
        least = offers.as_rule(row).least
        facts = {"item": row.item.name, "supplier": row.supplier.name, "least": least,
                 "own": row.currency, "currency": currency}  # fmt: skip
        refuse_first(
            (
                row.currency != currency,
                Invalid(
                    _(
                        "The price of %(item)s from %(supplier)s is in %(own)s, not in "
                        "%(currency)s: order the item separately."
                    )
                    % facts,
                    field="lines",
                ),
            ),
            (
                count < least,
                Invalid(
                    _("%(supplier)s sells at least %(least)d packs of %(item)s.") % facts,
                    field="lines",
                ),
            ),
        )
    return rows


def _refuse_too_many(packs: Mapping[int, int]) -> None:
    if len(packs) > MOST_LINES or any(count > MOST_PACKS for count in packs.values()):
        raise Invalid(
            _("An order can have at most %(lines)d lines, each with at most %(packs)d packs.")
            % {"lines": MOST_LINES, "packs": MOST_PACKS},
            field="lines",
        )


def _lines(of: RoomSeason, packs: Mapping[int, int], others: QuerySet[Order]) -> dict[int, Line]:
    """What lines of so many packs of offers (ids) are for, beside other drafts of the room, so that
    what comes from two suppliers is not for the same kits; by offer, of what is wanted. Offers that
    are no longer in force count for as much as those that are."""
    beside = dict(OrderLine.objects.filter(order__in=others).values_list("offer", "packs"))
    ordered = {pk: count for pk, count in {**beside, **packs}.items() if count}
    season = of.with_offers(offers.in_full(Offer.objects.filter(pk__in=ordered)))
    return {line.offer.pk: line for line in lines_of(season, Packs(ordered))}


def _write(
    act: Act,
    order: Order,
    packs: Mapping[int, int],
    rows: Mapping[int, Offer],
    known: Mapping[int, Line],
) -> None:
    """Write the lines of a draft with what they are for, and what its delivery costs."""
    order.lines.all().delete()
    goods = Decimal(0)
    lines: list[OrderLine] = []
    for pk, count in sorted(packs.items()):
        cost = offers.as_rule(rows[pk]).cost(count)
        goods += cost
        line = known.get(pk)
        lines.append(
            OrderLine(
                order=order,
                offer=rows[pk],
                item=rows[pk].item,
                packs=count,
                pack_units=rows[pk].units,
                each=cost / count,
                for_kits=line.line.for_kits if line else 0,
                for_use=line.line.for_use if line else 0,
                for_class=line.line.for_class if line else 0,
                basis=str(line.basis if line else Basis.NO_USE),
                wanted_by=line.wanted_by if line else None,
                without_kits=line.line.without.kits if line else None,
                without_use=round(line.line.without.use, 2) if line else None,
                matters=line.line.matters.value if line else "",
            )
        )
    OrderLine.objects.bulk_create(lines)
    (terms,) = offers.terms_in(order.currency, [order.supplier_id])
    order.delivery = terms.charges(goods) if lines else Decimal(0)
    order.worked_out_at = act.received_at
    order.revision += 1
    order.save(update_fields=["through", "delivery", "worked_out_at", "revision"])
