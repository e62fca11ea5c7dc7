"""One order to a supplier: its lines, ordering it, what came of it, and it on paper."""

import csv
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core.acts import Act, Problem, Stale
from gearroom.site.web.labelling.papers import as_pdf
from gearroom.site.web.page import (
    Day,
    Done,
    PageForm,
    actor,
    form_view,
    id_of,
    names_room,
    read_page,
    show,
    today_here,
)
from gearroom.site.web.stock.order import packs_in
from kits.models import Order
from kits.rules.exchange.formulas import neutral
from kits.services.buying import drafting, ordering
from kits.services.orders import orders
from kits.services.orders.orders import LineStands, OrderStands
from kits.services.stock import offers
from kits.services.text import order_texts as texts
from kits.services.text.wording import day
from labels.services.paper import order_sheet


@read_page("receive")
def one(request: HttpRequest, order: int) -> HttpResponse:
    """One order."""
    return _page(request, order)


def _page(request: HttpRequest, order: int, problem: Problem | None = None) -> HttpResponse:
    of = orders.order(actor(request), order)
    row, is_draft = of.order, of.state.value == "draft"
    in_order = {line.line.offer_id for line in of.lines}
    more = offers.in_force().filter(supplier=row.supplier, currency=row.currency)
    usual = ordering.usual_days(row, [line.line for line in of.lines]) if is_draft else None
    late = ""
    is_open = any(line.progress.open for line in of.lines) and not is_draft
    if is_open and row.expected_on and row.ordered_on and row.expected_on < today_here(request):
        late = texts.overdue(ordered_on=row.ordered_on, expected_on=row.expected_on)
    return show(
        request,
        "site/stock/order/one.html",
        problem=problem,
        of=of,
        row=row,
        is_draft=is_draft and row.dropped_at is None,
        is_open=is_open and row.ordered_at is not None,
        late=late,
        state=texts.STATES[of.state],
        lines=[_line(line, row) for line in of.lines],
        more=[each for each in more.order_by("item__name") if each.pk not in in_order],
        usual_days=usual,
        worked_out_at=row.worked_out_at or row.made_at,
        today=today_here(request),
        sent=request.POST,
    )


def _line(line: LineStands, row: Order) -> dict[str, Any]:
    of = line.line
    return {
        "stands": line,
        "reason": texts.reason_of(of, row.through),
        "without": texts.without_of(of, row.through),
        "packs_came": sorted(
            {a.pack_units for a in line.arrivals if a.pack_units not in (None, of.pack_units)}
        ),
    }


def _named(act: Act, order: int) -> Order:
    return orders.order(act.actor, order).order


def _as_it_was_read(act: Act, sent: Mapping[str, str]) -> Act:
    """The act, refused where the order is not as the form's page showed it."""

    def match(now: Order) -> None:
        if sent.get("revision") != str(now.revision):
            raise Stale(
                "changed-since",
                _("Somebody has changed this order since you opened it. Reload the page."),
            )

    return replace(act, match=match)


@form_view("receive", "one-order", refused=_page)
def change(act: Act, request: HttpRequest, order: int) -> Done:
    """Change the lines of a draft, and add one; with none, only work out what they are for."""
    packs = packs_in(request.POST)
    if add := request.POST.get("add", ""):
        packs[id_of(add) or 0] = 1
    drafting.change(_as_it_was_read(act, request.POST), _named(act, order), packs)
    if not packs:
        return Done(_("What each line is for has been worked out again. The packs are the same."))
    return Done(_("The draft has been saved."))


class PlaceForm(PageForm):
    """When it was ordered, and by when it is expected."""

    ordered_on = Day(required=False, label=_lazy("Ordered on"))
    expected_on = Day(required=False, label=_lazy("Expected on"))


@form_view("receive", "one-order", refused=_page)
def place(act: Act, request: HttpRequest, order: int) -> Done:
    """Record that a draft was ordered."""
    values = PlaceForm.read(request.POST)
    done = ordering.place(_as_it_was_read(act, request.POST), _named(act, order), **values)
    facts = {"supplier": done.order.supplier.name, "day": _day(done.order.expected_on)}
    return Done(_("Ordered from %(supplier)s, expected on %(day)s.") % facts)


def _day(value: Any) -> str:
    return day(value) if value else ""


@form_view("receive", "one-order", refused=_page)
def take_back(act: Act, request: HttpRequest, order: int) -> Done:
    """Record that an order was not ordered after all."""
    ordering.take_back(act, _named(act, order))
    return Done(_("The order is a draft again, and its items are no longer expected."))


@form_view("receive", "one-order", refused=_page)
def rest(act: Act, request: HttpRequest, order: int) -> Done:
    """Record that what has not arrived will not come, or that what was cancelled will."""
    line = id_of(request.POST.get("line", ""))
    if request.POST.get("do") == "await":
        ordering.await_again(act, _named(act, order), line)
        return Done(_("The cancelled items are expected again."))
    ordering.cancel_rest(act, _named(act, order), line)
    return Done(_("Items that had not arrived have been cancelled and are no longer expected."))


@form_view("receive", refused=_page)
def discard(act: Act, request: HttpRequest, order: int) -> Done:
    """Discard a draft."""
    drafting.drop(act, _named(act, order))
    return Done(_("The draft has been discarded."), to=reverse("order"))


# ---------------------------------------------------------------------------------------- on paper
@read_page("receive")
def as_csv(request: HttpRequest, order: int) -> HttpResponse:
    """An order as a table for other programs."""
    of = orders.order(actor(request), order)
    answer = HttpResponse(
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="order-{of.order.pk}.csv"'},
    )
    write = csv.writer(answer).writerow
    write([
        "order", "supplier", "room", "item", "packs", "units_in_pack", "unit", "price_each",
        "cost", "currency", "wanted_by", "arrived", "still_to_come", "cancelled", "priority",
        "short_without", "lacking_without",
    ])  # fmt: skip
    for line in of.lines:
        write(_cells(of, line))
    return answer


def _cells(of: OrderStands, line: LineStands) -> list[object]:
    row, known = line.line, line.progress
    texts_in = (of.order.supplier.name, of.order.room.name, row.item.name)
    supplier, room, item = map(neutral, texts_in)
    return [
        of.order.pk, supplier, room, item, row.packs, row.pack_units, neutral(row.item.base_unit),
        row.each, line.cost, of.order.currency, row.wanted_by or "", known.arrived, known.open,
        known.cancelled, row.matters, _known(row.without_kits), _known(row.without_use),
    ]  # fmt: skip


def _known(number: float | None) -> object:
    return "" if number is None else number


@read_page("receive")
def as_sheet(request: HttpRequest, order: int) -> HttpResponse:
    """An order as PDF, to send to the supplier; with `?why=1` for one's own file, with reasons."""
    of = orders.order(actor(request), order)
    sheet = order_sheet.order_sheet(of, why="why" in request.GET, names_room=names_room(request))
    return as_pdf(sheet, f"order-{of.order.pk}.pdf")
