"""What to order for a season: a room's order is worked out, changed by hand and drafted; and all
orders that are open."""

from collections import Counter
from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.page import (
    Day,
    Done,
    Money,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    actor,
    form_view,
    id_of,
    read_field,
    read_page,
    room_here,
    show,
    today_here,
)
from kits.rules.buying.orders import OrderState
from kits.services.buying import drafting, season_money
from kits.services.buying.season_order import Line, SeasonOrder, season_order
from kits.services.lookup import find
from kits.services.orders import orders
from kits.services.orders.orders import OrderStands
from kits.services.stock import offers
from kits.services.text import order_texts as texts
from kits.services.text.planning import season_money_texts

WEEKS, MOST_WEEKS = 9, 104
PACKS = "packs-"
"""Before an offer's number: how many packs of it."""
_OPEN = (OrderState.ORDERED, OrderState.PARTLY_ARRIVED)
_DONE_SHOWN = 10


class SeasonForm(PageForm):
    """For how many weeks to order, in which currency, for how much money at most."""

    weeks = WholeNumber(
        least=1, most=MOST_WEEKS, required=False, initial=WEEKS, label=_lazy("Weeks")
    )
    budget = Money(required=False, label=_lazy("Budget"))
    currency = ShortText(3)


@read_page("receive")
def order(request: HttpRequest) -> HttpResponse:
    """The page: open orders, and, with `?weeks=`, what a room's order comes to."""
    return _page(request)


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    sent = request.POST or request.GET
    named = sent.get("room", "")
    room = find.room(actor(request), named) if named else room_here(request)
    actor(request).require("receive", room.pk)
    plan: SeasonOrder | None = None
    currencies = _currencies()
    values: dict[str, Any] = {"weeks": WEEKS, "budget": None, "currency": ""}
    try:
        values = SeasonForm.read(sent)
        if "weeks" in sent:
            plan = _plan(request, room, values, currencies)
    except Problem as wrong:
        problem = problem or wrong
    known = [orders.stands(row) for row in orders.visible_to(actor(request)).filter(room=room)]
    return show(
        request,
        "site/stock/order/order.html",
        problem=problem,
        room=room,
        today=today_here(request),
        sent=sent,
        weeks=sent.get("weeks") or WEEKS,
        currencies=currencies,
        currency=values["currency"] or next(iter(currencies), ""),
        drafts=[each for each in known if each.state is OrderState.DRAFT],
        open=[_open(request, each) for each in known if each.state in _OPEN],
        done=[each for each in known if _is_over(each)][:_DONE_SHOWN],
        states=texts.STATES,
        plan=_shown(plan) if plan else None,
        money=_money(request, room),
    )


def _money(request: HttpRequest, room: Room) -> str:
    today = today_here(request)
    return season_money_texts.line(season_money.of_rooms([room], today)[room.pk], today)


def _is_over(each: OrderStands) -> bool:
    over = each.state in (OrderState.RECEIVED, OrderState.CANCELLED)
    return over and each.order.dropped_at is None


def _open(request: HttpRequest, each: OrderStands) -> dict[str, Any]:
    expected, on = each.order.expected_on, each.order.ordered_on
    late = ""
    if expected and on and expected < today_here(request):
        late = texts.overdue(ordered_on=on, expected_on=expected)
    return {"stands": each, "late": late}


def _currencies() -> list[str]:
    """The currencies that things are offered in, the usual one first."""
    rows = offers.in_force().values_list("currency", flat=True)
    return [currency for currency, _n in Counter(rows).most_common()]


def _plan(
    request: HttpRequest, room: Room, values: dict[str, Any], currencies: Sequence[str]
) -> SeasonOrder:
    currency = values["currency"] or next(iter(currencies), "")
    if currency not in currencies:
        raise Invalid(
            _("No offer in this currency is on record. Enter suppliers’ prices first."),
            field="currency",
        )
    return season_order(
        actor(request),
        room,
        through=today_here(request) + timedelta(weeks=values["weeks"]),
        currency=currency,
        budget=values["budget"],
    )


def _shown(plan: SeasonOrder) -> dict[str, Any]:
    """A plan for the page: an order for each supplier, and what is still lacked."""
    goods = plan.plan.order
    by_supplier = grouped((line.offer.supplier, line) for line in plan.lines)
    return {
        "order": plan,
        "suppliers": [
            {
                "supplier": supplier,
                "lines": [_line(line, plan) for line in lines],
                "goods": sum((line.line.cost for line in lines), Decimal(0)),
                "delivery": plan.by_supplier[supplier.pk],
                "terms": plan.terms.get(supplier.pk),
            }
            for supplier, lines in by_supplier.items()
        ],
        "how_good": texts.how_good(plan.plan.found, plan.plan.within),
        "lacking": [
            {"row": row, "percent": _percent(row.outlook.runs_out), "basis": texts.BASES[row.basis]}
            for row in plan.outlooks
            if not row.outlook.enough
        ],
        "empty": not goods.packs,
    }


def _percent(chance: float) -> int:
    return min(99, max(1, round(chance * 100)))


def _line(line: Line, plan: SeasonOrder) -> dict[str, Any]:
    of = line.line
    return {
        "offer": line.offer,
        "packs": of.packs,
        "units": of.units,
        "cost": of.cost,
        "by": line.wanted_by,
        "reason": texts.reason(
            for_kits=of.for_kits,
            for_use=of.for_use,
            for_class=of.for_class,
            more=of.more,
            basis=line.basis,
            through=plan.through,
        ),
        "without": texts.without(
            kits=of.without.kits,
            use=of.without.use,
            for_class=of.for_class,
            matters=of.matters,
            through=plan.through,
        ),
    }


# --------------------------------------------------------------------------------------- drafting
class DraftForm(PageForm):
    """The season that an order is for, and whether it takes the place of drafts."""

    through = ShortText(10)
    currency = ShortText(3)
    room = ShortText(80)
    replace = Tick()


def packs_in(sent: Any) -> dict[int, int]:
    """How many packs of each offer (id) a form says. Raises Invalid."""
    field = WholeNumber(
        least=0, most=drafting.MOST_PACKS, required=False, initial=0, label=_("Packs")
    )
    found: dict[int, int] = {}
    for name, value in sent.items():
        if name.startswith(PACKS) and (pk := id_of(name.removeprefix(PACKS))):
            found[pk] = read_field(field, {name: value}, name)
    return found


@form_view("receive", refused=_page)
def draft(act: Act, request: HttpRequest) -> Done:
    """Draft the orders of a plan, as changed by hand: one for each supplier."""
    values = DraftForm.read(request.POST)
    room = find.room(act.actor, values["room"])
    made = drafting.draft(
        act,
        room,
        packs=packs_in(request.POST),
        through=read_field(Day(label=_("Until")), request.POST, "through"),
        currency=values["currency"],
        replace=values["replace"],
    )
    sentence = ngettext(
        "%(n)d order has been drafted. Nothing has been ordered yet: send the order to the "
        "supplier, then record it as ordered.",
        "%(n)d orders have been drafted. Nothing has been ordered yet: send the orders to the "
        "suppliers, then record them as ordered.",
        len(made),
    )
    to = reverse("one-order", args=[made[0].order.pk]) if len(made) == 1 else reverse("order")
    return Done(sentence % {"n": len(made)}, to=to)
