"""A room's order for a season: what its kits lack, what is likely to be used, and what goes out of
date, less what is on its shelves and lasts; from the offers on record, within a budget.

What somebody asks for is only worked out: nothing is written, and nothing is ordered by it. It
never advises to do without: what is left out is named, with what it comes to.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid
from gearroom.core.models import Room
from gearroom.core.rules.grouping import summed
from kits.models import Item, Kit, ListLine, Offer
from kits.rules.buying import order_lines, order_plan
from kits.rules.buying.order_levels import use_over
from kits.rules.buying.order_lines import OrderLine, Outlook
from kits.rules.buying.season import ENOUGH, Season, Want, is_money
from kits.rules.ledger import Units, usable_through
from kits.rules.ledger.facts import Criticality
from kits.rules.restocking.picking import restock
from kits.services.ledger import readiness
from kits.services.planning.plans import Purchase, purchases
from kits.services.stock import offers, stock_levels, stock_use
from kits.services.stock.stock_levels import LOOKS_BACK_DAYS

MOST_DAYS = 730


@dataclass(frozen=True)
class Line:
    """A line of an order, with the offer that it takes."""

    offer: Offer
    line: OrderLine


@dataclass(frozen=True)
class ItemOutlook:
    """How an item stands through the season with the order."""

    item: Item
    outlook: Outlook


@dataclass(frozen=True)
class SeasonOrder:
    """An order of a room, through a day, in one currency.

    `money` in all, of which `deliveries`; `plan` says how good it is and what no order goes below.
    `outlooks` of all that is wanted, what is not enough first; `not_offered` items that are wanted
    and offered by nobody in this currency.
    """

    room: Room
    through: date
    currency: str
    budget: Decimal | None
    plan: order_plan.Plan
    lines: Sequence[Line]
    money: Decimal
    deliveries: Decimal
    outlooks: Sequence[ItemOutlook]
    not_offered: Sequence[Item]


def season_order(
    actor: Actor,
    room: Room,
    *,
    through: date,
    currency: str,
    budget: Decimal | None = None,
    seconds: float = order_plan.SECONDS,
) -> SeasonOrder:
    """The order of a room through a day, in a currency. Raises Invalid for a day that is past or
    more than two years off, or a budget that cannot be; NotAllowed for whoever has not the right
    to receive stock there."""
    actor.require("receive", room.pk)
    today = clock.today(room.time_zone)
    if not 0 < (through - today).days <= MOST_DAYS:
        raise Invalid(
            _("Choose a day within the next two years."),
            field="through",
        )
    if budget is not None and not is_money(budget):
        raise Invalid(_("A budget is 0 or more, with at most two decimal places."), field="budget")
    wants = _wants(room, today, through)
    rows = offers.in_force().filter(item__in=[want.item for want in wants], currency=currency)
    priced = {row.pk: row for row in rows}
    season = Season(
        currency,
        tuple(wants),
        tuple(offers.as_rule(row) for row in priced.values()),
        offers.terms_in(currency, {row.supplier_id for row in priced.values()}),
        budget,
    )
    return _order(room, through, season, priced, seconds)


def _order(
    room: Room, through: date, season: Season, priced: dict[int, Offer], seconds: float
) -> SeasonOrder:
    plan = order_plan.plan(season, seconds=seconds)
    items = Item.objects.in_bulk([want.item for want in season.wants])
    outlooks = order_lines.outlooks(season, plan.order)
    return SeasonOrder(
        room=room,
        through=through,
        currency=season.currency,
        budget=season.budget,
        plan=plan,
        lines=[
            Line(priced[line.offer], line) for line in order_lines.order_lines(season, plan.order)
        ],
        money=plan.order.money(season),
        deliveries=sum(plan.order.deliveries(season).values(), Decimal(0)),
        outlooks=[ItemOutlook(items[each.item], each) for each in outlooks],
        not_offered=[
            items[each.item]
            for each in outlooks
            if not each.enough and each.item not in season.offered
        ],
    )


def _wants(room: Room, today: date, through: date) -> list[Want]:
    """What is wanted of each item in use that kits lack or that was used."""
    since = today - timedelta(days=LOOKS_BACK_DAYS)
    used = {item: rows for (_room, item), rows in stock_use.uses({room.pk: room}, since).items()}
    kits = Kit.objects.filter(home_room=room, retired_on=None, laid_up_since=None, training=False)
    short = _short(kits.values_list("pk", flat=True), today, through)
    held = stock_levels.on_shelves([room.pk])[0].get(room.pk, [])
    items = Item.objects.active().in_bulk({*used, *short})
    on_hand = _lasting(held, through)
    matters, bought = _gravest(room), purchases(items)
    first = stock_levels.first_received(items)
    found = []
    for pk in sorted(items):
        began = max(since, clock.local_date(first[pk], room.time_zone)) if pk in first else since
        record = {"recorded_from": min(began, today), "today": today}
        acts = used.get(pk, [])
        life = bought.get(pk, Purchase()).shelf_life_days if items[pk].needs_date else None
        found.append(
            Want(
                item=pk,
                short=short[pk],
                used=use_over(acts, **record, days=(through - today).days),
                on_hand=on_hand[pk],
                kept=None if life is None else use_over(acts, **record, days=life),
                matters=matters.get(pk, Criticality.ROUTINE),
            )
        )
    return found


def _short(kits: Iterable[int], today: date, through: date) -> dict[int, int]:
    """Units of each item that the kits lack through a day, what goes out of date in them by then
    among it."""
    return summed(
        (row.thing.id, row.count)
        for state in readiness.states(kits).values()
        for row in restock(state, (), through=through, today=today).missing
    )


def _lasting(held: Iterable[Units], through: date) -> dict[int, int]:
    return summed(
        (row.batch.thing.id, row.count) for row in held if usable_through(row.batch, through)
    )


def _gravest(room: Room) -> dict[int, Criticality]:
    """How much each item matters to the kits at home in a room: what the gravest line says."""
    lines = (
        ListLine.objects.filter(
            section__version__kits__home_room=room, section__version__kits__retired_on=None
        )
        .values_list("item", "criticality")
        .distinct()
        .order_by()
    )
    rows = sorted(((item, Criticality(c)) for item, c in lines), key=lambda row: ENOUGH[row[1]])
    return dict(rows)
