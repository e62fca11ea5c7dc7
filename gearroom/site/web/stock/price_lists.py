"""A supplier's price list, pasted or uploaded as CSV: a preview of every line, then kept."""

from dataclasses import dataclass
from decimal import Decimal

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Invalid, Problem, one
from gearroom.site.web.lists.pasting import LEAVE_OUT
from gearroom.site.web.page import (
    Done,
    Money,
    PageForm,
    ShortText,
    WholeNumber,
    acted,
    id_of,
    page,
    read_field,
    show,
)
from kits.models import Item
from kits.services.buying import price_lists
from kits.services.buying.price_lists import NewPrice, ReadOffer
from kits.services.lookup import find
from kits.services.stock import offers

_MOST_BYTES = 200_000


@dataclass(frozen=True)
class PriceLine:
    """A pasted line with what its inputs hold, and what keeps it from being kept, if anything."""

    at: int
    of: ReadOffer
    item: str
    other: str
    units: str
    price: str
    wrong: str

    @property
    def named(self) -> str:
        """The item that is chosen, by its number or its name; empty: none."""
        return self.other.strip() or ("" if self.item == LEAVE_OUT else self.item)


class ListForm(PageForm):
    """Whose list it is, and what its prices are in."""

    supplier = ShortText(offers.MOST_NAME)
    same_as = ShortText(20)
    currency = ShortText(12)
    tax_percent = Money(required=False, label=gettext_lazy("Tax to add, per cent"))


@page("edit_item")
def paste(request: HttpRequest) -> HttpResponse:
    """Paste a list; see what each line offers; keep it. Only the last is an act."""
    if "keep" not in request.POST:
        return _page(request)
    try:
        return acted(request, lambda act: _keep(act, request.POST), to=reverse("prices"))
    except Problem as problem:
        return _page(request, problem)


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    sent, lines = request.POST.copy(), list[PriceLine]()
    if request.method == "POST":
        try:
            if file := request.FILES.get("file"):
                sent["text"] = _text(file.read(_MOST_BYTES + 1))
            lines = _lines(sent)
        except Problem as wrong:
            problem = problem or wrong
    name = sent.get("supplier", "").strip()
    known = offers.supplier_named(name) if name else None
    return show(
        request,
        "site/stock/prices/paste.html",
        problem=problem,
        values=sent,
        text=sent.get("text", ""),
        lines=lines,
        good=sum(not line.wrong for line in lines),
        known=known,
        suppliers=list(offers.suppliers()),
        currency=offers.usual_currency(),
        things=Item.objects.active().values_list("name", flat=True) if lines else (),
    )


def _text(content: bytes) -> str:
    if len(content) > _MOST_BYTES:
        raise Invalid(_("The file is too large: at most 200 kilobytes."), field="file")
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding).replace("\0", "")
        except UnicodeDecodeError:
            continue
    raise Invalid(
        _("This file is not a text file. Save the list as CSV and choose that file."), field="file"
    )


def _lines(sent: QueryDict) -> list[PriceLine]:
    """A line of each pasted one; as it was sent, else with what was made out. Raises Invalid."""
    currency = sent.get("currency", "").strip().upper()
    found = []
    for at, of in enumerate(price_lists.read_offers(sent.get("text", ""))):
        first = str(of.items[0].pk) if of.items and of.sure else ""
        units = "" if of.pasted.units is None else str(of.pasted.units)
        price = "" if of.pasted.price is None else str(of.pasted.price)
        line = PriceLine(
            at,
            of,
            sent.get(f"item-{at}", first),
            sent.get(f"other-{at}", ""),
            sent.get(f"units-{at}", units),
            sent.get(f"price-{at}", price),
            "",
        )
        found.append(PriceLine(**{**vars(line), "wrong": _wrong(line, currency)}))
    return found


def _wrong(line: PriceLine, currency: str) -> str:
    """Why a line cannot be kept as it stands."""
    if line.item == LEAVE_OUT and not line.other.strip():
        return _("left out")
    if not line.named:
        return _("no item of this name") if not line.of.items else _("choose an item")
    if not line.price.strip():
        return _("no price")
    if not line.units.strip():
        return _("how many are in a pack?")
    if line.of.pasted.currency and currency and line.of.pasted.currency != currency:
        return _("in %(currency)s") % {"currency": line.of.pasted.currency}
    return ""


def _keep(act: Act, sent: QueryDict) -> Done:
    values, lines = ListForm.read(sent), _lines(sent)
    same_as = None
    if pk := id_of(values["same_as"]):
        same_as = one(offers.suppliers().filter(pk=pk), "supplier", pk)
    kept = price_lists.keep(
        act,
        [_price(line) for line in lines if not line.wrong],
        supplier=values["supplier"],
        same_as=same_as,
        currency=values["currency"].upper(),
        tax_percent=values["tax_percent"] or Decimal(0),
    )
    says = ngettext(
        "%(n)d price from %(supplier)s has been saved.",
        "%(n)d prices from %(supplier)s have been saved.",
        len(kept.stated),
    ) % {"n": len(kept.stated), "supplier": kept.supplier.name}
    if kept.unchanged:
        says += " " + ngettext(
            "%(n)d price is the same as before.",
            "%(n)d prices are the same as before.",
            kept.unchanged,
        ) % {"n": kept.unchanged}
    if left := [line for line in lines if line.wrong]:
        says += " " + ngettext(
            "%(n)d line was not saved: %(lines)s",
            "%(n)d lines were not saved: %(lines)s",
            len(left),
        ) % {"n": len(left), "lines": "; ".join(line.of.pasted.text for line in left)[:400]}
    return Done(says)


def _price(line: PriceLine) -> NewPrice:
    item = find.item(line.named)
    units = _("%(thing)s, units in a pack") % {"thing": item.name}
    price = _("%(thing)s, price") % {"thing": item.name}
    return NewPrice(
        item,
        read_field(WholeNumber(least=1, label=units), {"": line.units}, ""),
        read_field(Money(label=price), {"": line.price}, ""),
    )
