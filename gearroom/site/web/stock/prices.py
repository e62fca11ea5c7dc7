"""Prices: what is offered by whom, what deliveries taught, and a supplier's terms."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem, one
from gearroom.site.web.page import (
    Done,
    Money,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    id_of,
    show,
)
from gearroom.site.web.page.tables import page_of
from kits.models import Item, Offer, Supplier
from kits.rules.buying.receipts import Days
from kits.rules.buying.season import with_tax
from kits.services.lookup import find
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from kits.services.stock.order_levels import deliveries

_ROWS = 60
_MORE_PRICES = range(2)
"""Prices for larger numbers of packs that the form asks for besides."""


@dataclass(frozen=True)
class PriceRow:
    """An offer; what a unit of it costs, tax included; for how long the item kept on arrival from
    this supplier, and how long it took to come, where deliveries say so."""

    offer: Offer
    each: Decimal
    shelf_life: Days | None
    lead_time: Days | None


def _rows(rows: Sequence[Offer]) -> list[PriceRow]:
    learned = deliveries.learned({row.item_id for row in rows})
    found = []
    for row in rows:
        keys = ((row.item_id, row.supplier.name), (row.item_id, None))
        price = with_tax(next(iter(row.prices.all())).each, row.tax_percent)
        found.append(
            PriceRow(
                row,
                price / row.units,
                next((each for key in keys if (each := learned.shelf_lives.get(key))), None),
                next((each for key in keys if (each := learned.lead_times.get(key))), None),
            )
        )
    return found


# --------------------------------------------------------------------------------------- the table
def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    search, supplier = request.GET.get("search", "").strip(), request.GET.get("supplier", "")
    rows = offers.in_force().order_by("item__name", "supplier__name", "units")
    if search:
        rows = rows.filter(item__name__icontains=search[:120])
    if chosen := id_of(supplier):
        rows = rows.filter(supplier=chosen)
    of_page = page_of(request, list(rows), _ROWS)
    return show(
        request,
        "site/stock/prices/prices.html",
        problem=problem,
        rows=_rows(of_page.rows),
        of_page=of_page,
        search=search,
        chosen=supplier,
        suppliers=list(offers.suppliers()),
        unmatched=offers.unmatched_names(actor(request)),
        things=Item.objects.active().values_list("name", flat=True),
        currency=offers.usual_currency(),
        more_prices=_MORE_PRICES,
        may_edit=actor(request).may("edit_item"),
        values=request.POST,
    )


class OfferForm(PageForm):
    """What a pack of an item costs at a supplier."""

    item = ShortText()
    supplier = ShortText(offers.MOST_NAME)
    units = WholeNumber(least=1, label=gettext_lazy("Units in a pack"))
    price = Money(label=gettext_lazy("Price of a pack"))
    currency = ShortText(12)
    tax_percent = Money(required=False, label=gettext_lazy("Tax to add, per cent"))
    least = WholeNumber(least=1, required=False, label=gettext_lazy("Minimum order, packs"))


class MorePriceForm(PageForm):
    """What a pack costs where more are bought."""

    packs = WholeNumber(least=2, required=False, label=gettext_lazy("From this many packs"))
    each = Money(required=False, label=gettext_lazy("Price of a pack from that number"))


@form_view("look", page_of=_page)
def prices(act: Act, request: HttpRequest) -> Done:
    """What is offered now, and a form for one more."""
    values = OfferForm.read(request.POST)
    if not values["item"]:
        raise Invalid(_("Choose an item."), field="item")
    item = find.item(values["item"])
    more = [MorePriceForm.read(request.POST, row=n) for n in _MORE_PRICES]
    asked = [PackPrice(values["least"] or 1, values["price"])]
    for each in more:
        if (each["packs"] is None) != (each["each"] is None):
            raise Invalid(
                _("Enter both the number of packs and their price, or neither."), field="packs-0"
            )
        if each["packs"] is not None:
            asked.append(PackPrice(each["packs"], each["each"]))
    made = offers.offer_of_supplier(
        act,
        values["supplier"],
        item=item,
        units=values["units"],
        prices=asked,
        currency=values["currency"].upper(),
        tax_percent=values["tax_percent"] or Decimal(0),
    )
    return Done(
        _("The price of %(item)s from %(supplier)s has been saved.")
        % {"item": made.item.name, "supplier": made.supplier.name},
        to=reverse("prices"),
    )


@form_view("edit_item")
def end(act: Act, request: HttpRequest, id: int) -> Done:
    """State that something is no longer offered. Only forms are taken."""
    ended = offers.end_offer(act, offers.offer(id))
    says = _("%(item)s is no longer offered by %(supplier)s.") % {
        "item": ended.item.name,
        "supplier": ended.supplier.name,
    }
    return Done(says, to=reverse("prices"))


# ------------------------------------------------------------------------------------- a supplier
def _supplier(id: int) -> Supplier:
    return one(offers.suppliers().filter(pk=id), "supplier", id)


def _supplier_page(request: HttpRequest, id: int, problem: Problem | None = None) -> HttpResponse:
    of = _supplier(id)
    latest = {terms.currency: terms for terms in of.terms.all()}
    return show(
        request,
        "site/stock/prices/supplier.html",
        problem=problem,
        supplier=of,
        terms=list(latest.values()),
        unmatched=offers.unmatched_names(actor(request)),
        currency=offers.usual_currency(),
        may_edit=actor(request).may("edit_item"),
        values=request.POST,
    )


class TermsForm(PageForm):
    """What deliveries cost."""

    currency = ShortText(12)
    delivery = Money(required=False, label=gettext_lazy("Delivery"))
    free_from = Money(required=False, label=gettext_lazy("Free delivery from"))
    least_order = Money(required=False, label=gettext_lazy("Minimum order"))


@form_view("look", "supplier", page_of=_supplier_page)
def supplier(act: Act, request: HttpRequest, id: int) -> Done:
    """What deliveries from a supplier cost; other names that mean it."""
    of, name = _supplier(id), request.POST.get("name", "")
    if "name" in request.POST:
        offers.match_name(act, name, of)
        says = _("From now on, “%(name)s” means %(supplier)s.")
        return Done(says % {"name": " ".join(name.split()), "supplier": of.name})
    values = TermsForm.read(request.POST)
    offers.state_terms(
        act,
        of,
        currency=values["currency"].upper(),
        delivery=values["delivery"] or Decimal(0),
        free_from=values["free_from"],
        least_order=values["least_order"] or Decimal(0),
    )
    return Done(_("The delivery costs of %(supplier)s have been saved.") % {"supplier": of.name})
