"""A room's order for a season: what its kits lack, what is likely to be used, and what goes out of
date, less what is on its shelves and lasts, and what is on order; from the offers on record, within
a budget.

What somebody asks for is only worked out: nothing is written, and nothing is ordered by it. It
never advises to do without: what is left out is named, with what it comes to.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Item, Kit, Offer
from kits.rules.buying import for_class, order_lines, order_plan
from kits.rules.buying.order_lines import Asked, Basis, InStock, OrderLine, Outlook
from kits.rules.buying.replacing import replaced, successor
from kits.rules.buying.season import ENOUGH, Order, Season, Supplier, Want, is_money
from kits.rules.ledger import Kind, KitState, Units, good_through, usable_through
from kits.rules.ledger.expiry import usable_until
from kits.rules.ledger.facts import Criticality
from kits.rules.restocking.picking import restock
from kits.services.buying import class_needs, forecast
from kits.services.ledger import readiness
from kits.services.orders import on_order
from kits.services.planning.plans import purchases
from kits.services.stock import catalogue, offers
from kits.services.stock.order_levels import stock_levels, stock_use
from kits.services.stock.order_levels.stock_levels import LOOKS_BACK_DAYS

MOST_DAYS = 730


@dataclass(frozen=True)
class Line:
    """A line of an order, with the offer that it takes, what the use in the season was worked out
    from, and the day from which its units are wanted."""

    offer: Offer
    line: OrderLine
    basis: Basis
    wanted_by: date


@dataclass(frozen=True)
class ItemOutlook:
    """How an item stands through the season with the order."""

    item: Item
    outlook: Outlook
    basis: Basis


@dataclass(frozen=True)
class SeasonOrder:
    """An order of a room, through a day, in one currency.

    `money` in all, of which `deliveries`, those also `by_supplier` (id), with the `terms` of each
    who has some; `plan` says how good it is and what no order goes below.
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
    by_supplier: Mapping[int, Decimal]
    terms: Mapping[int, Supplier]
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
    """The order of a room through a day, in a currency. Raises what `season_of` raises."""
    of = season_of(actor, room, through=through, currency=currency, budget=budget)
    return _order(of, seconds)


@dataclass(frozen=True)
class RoomSeason:
    """What a room's order for a season is decided from: the rule's season, the offers by id, and by
    item (id) what its use was worked out from and the day from which more of it is wanted."""

    room: Room
    through: date
    season: Season
    offers: dict[int, Offer]
    basis: dict[int, Basis]
    wanted_by: dict[int, date]

    def with_offers(self, more: Iterable[Offer]) -> "RoomSeason":
        """The same with more offers, such as some that a new one took the place of."""
        rows = self.offers | {row.pk: row for row in more}
        suppliers = offers.terms_in(self.season.currency, {r.supplier_id for r in rows.values()})
        known = tuple(offers.as_rule(row) for row in rows.values())
        return replace(
            self, offers=rows, season=replace(self.season, offers=known, suppliers=suppliers)
        )


def season_of(
    actor: Actor, room: Room, *, through: date, currency: str, budget: Decimal | None = None
) -> RoomSeason:
    """What a room's order through a day is decided from, in a currency. Raises Invalid for a day
    that is past or more than two years off, a currency that is none, or a budget that cannot be;
    NotAllowed for whoever has not the right to receive stock there."""
    actor.require("receive", room.pk)
    today = clock.today(room.time_zone)
    if not 0 < (through - today).days <= MOST_DAYS:
        raise Invalid(
            _("Choose a day within the next two years."),
            field="through",
        )
    if budget is not None and not is_money(budget):
        raise Invalid(
            _("Enter a budget of 0 or more, with at most two decimal places."), field="budget"
        )
    wants, basis, wanted_by = _wants(room, today, through)
    better = catalogue.ordered_instead()
    asked = {*(want.item for want in wants), *better.values()}
    rows = offers.in_force().filter(item__in=asked, currency=currency)
    offered = {row.item_id for row in rows}
    # What nobody offers cannot be ordered in place of anything.
    by = {item: other for item, other in better.items() if other in offered}
    for want in wants:
        other = successor(want.item, by)
        basis.setdefault(other, basis[want.item])
        day = wanted_by[want.item]
        wanted_by[other] = min(day, wanted_by.get(other, day))
    wants = replaced(wants, by)
    kept = {want.item for want in wants}
    priced = {row.pk: row for row in rows if row.item_id in kept}
    season = Season(
        currency,
        tuple(wants),
        tuple(offers.as_rule(row) for row in priced.values()),
        offers.terms_in(currency, {row.supplier_id for row in priced.values()}),
        budget,
    )
    return RoomSeason(room, through, season, priced, basis, wanted_by)


def lines_of(of: RoomSeason, order: Order) -> list[Line]:
    """The lines of an order in a season, each with what it is for."""
    return [
        Line(of.offers[line.offer], line, of.basis[line.item], of.wanted_by[line.item])
        for line in order_lines.order_lines(of.season, order)
    ]


def _order(of: RoomSeason, seconds: float) -> SeasonOrder:
    season = of.season
    plan = for_class.plan(season, seconds=seconds)
    items = Item.objects.in_bulk([want.item for want in season.wants])
    outlooks = order_lines.outlooks(season, plan.order)
    return SeasonOrder(
        room=of.room,
        through=of.through,
        currency=season.currency,
        budget=season.budget,
        plan=plan,
        lines=lines_of(of, plan.order),
        money=plan.order.money(season),
        deliveries=sum(plan.order.deliveries(season).values(), Decimal(0)),
        by_supplier=plan.order.deliveries(season),
        terms={each.id: each for each in season.suppliers if each.delivery or each.least_order},
        outlooks=[ItemOutlook(items[each.item], each, of.basis[each.item]) for each in outlooks],
        not_offered=[
            items[each.item]
            for each in outlooks
            if not each.enough and each.item not in season.offered
        ],
    )


def _wants(
    room: Room, today: date, through: date
) -> tuple[list[Want], dict[int, Basis], dict[int, date]]:
    """What is wanted of each item in use that kits lack or that is likely to be used; what that was
    worked out from, and from which day on it is wanted."""
    since = today - timedelta(days=LOOKS_BACK_DAYS)
    used = {item for _room, item in stock_use.uses({room.pk: room}, since)}
    in_class = class_needs.needed(room, today, through)
    kits = Kit.objects.filter(home_room=room, retired_on=None, laid_up_since=None, training=False)
    states = [_checked(s) for s in readiness.states(kits.values_list("pk", flat=True)).values()]
    short, short_now = _short(states, through, today), _short(states, today, today)
    held = stock_levels.on_shelves([room.pk])[0].get(room.pk, [])
    items = Item.objects.active().in_bulk({*used, *short, *in_class, *forecast.carried(room)})
    on_hand = _lasting(map(_as_if_checked, held), through)
    coming = on_order.coming(on_order.open_lines([room]), by=through)
    matters, bought = _gravest(room), purchases(items)
    lives = {pk: bought[pk].shelf_life_days for pk in bought if items[pk].needs_date}
    life = {pk: days for pk, days in lives.items() if days is not None}
    expected = forecast.expected(room, items, today, through, life)
    wants = [
        Want(
            item=pk,
            short=short[pk],
            used=expected[pk].used,
            for_class=in_class.get(pk, 0),
            on_hand=on_hand[pk] + coming[room.pk, pk],
            kept=expected[pk].kept,
            matters=matters.get(pk, Criticality.ROUTINE),
        )
        for pk in sorted(items)
        if short[pk] or in_class.get(pk) or expected[pk].basis is not Basis.NO_USE
    ]
    ends, stock = _first_ends(states, today), _in_stock(map(_as_if_checked, held), today)
    wanted_by = {}
    for want in wants:
        pk, days = want.item, (through - today).days
        due = [InStock(coming[room.pk, pk])] if coming[room.pk, pk] else []
        asked = Asked(
            days=days,
            short_now=short_now[pk],
            short=short[pk],
            short_from=(ends[pk] - today).days if pk in ends else None,
            used=sum(units * chance for units, chance in enumerate(want.used)) / days,
        )
        lasts = order_lines.lasts_days([*stock.get(pk, ()), *due], asked)
        wanted_by[pk] = today + timedelta(days=lasts)
    return wants, {want.item: expected[want.item].basis for want in wants}, wanted_by


def _in_stock(held: Iterable[Units], today: date) -> dict[int, list[InStock]]:
    """What may be used of each item, and for how many more days, today among them."""
    return grouped(
        (row.batch.thing.id, InStock(row.count, _days_good(usable_until(row.batch), today)))
        for row in held
        if row.count and usable_through(row.batch, today)
    )


def _days_good(last: date | None, today: date) -> int | None:
    return None if last in (None, date.max) else (last - today).days + 1


def _short(states: Iterable[KitState], through: date, today: date) -> dict[int, int]:
    """Units of each item that the kits lack through a day, what goes out of date in them by then
    among it."""
    return summed(
        (row.thing.id, row.count)
        for state in states
        for row in restock(state, (), through=through, today=today).missing
    )


def _checked(state: KitState) -> KitState:
    """A kit with its instruments as if they were checked whenever that is due."""
    return replace(state, units=tuple(map(_as_if_checked, state.units)))


def _as_if_checked(row: Units) -> Units:
    """Units as if their check were done: nobody buys another instrument for that. One that failed
    its check stays as it is."""
    batch = row.batch
    if batch.thing.kind is not Kind.INSTRUMENT or batch.check_passed is False:
        return row
    return replace(row, batch=replace(batch, check_passed=True, check_due=None))


def _first_ends(states: Iterable[KitState], today: date) -> dict[int, date]:
    """The first day from today on which units of an item in the kits are out of date."""
    ends: dict[int, date] = {}
    for state in states:
        for row in state.units:
            last = good_through(row.batch)
            if last is not None and last >= today:
                first = last + timedelta(days=1)
                ends[row.batch.thing.id] = min(first, ends.get(row.batch.thing.id, first))
    return ends


def _lasting(held: Iterable[Units], through: date) -> dict[int, int]:
    return summed(
        (row.batch.thing.id, row.count) for row in held if usable_through(row.batch, through)
    )


def _gravest(room: Room) -> dict[int, Criticality]:
    """How much each item matters to the kits at home in a room: what the gravest line says."""
    lines = forecast.lines(room).values_list("item", "criticality").distinct().order_by()
    rows = sorted(((item, Criticality(c)) for item, c in lines), key=lambda row: ENOUGH[row[1]])
    return dict(rows)
