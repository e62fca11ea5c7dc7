"""Receiving by scanning: a pack's code says what it is, two taps say how many and where.

What a code says is laid out first and written only when the shelf is tapped. A code that nobody
knows here leads to the thing that it is of: a new one, entered with what the code says, or one that
is known already.
"""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Actor, Invalid, Problem, printable
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.page import (
    Done,
    Money,
    PageForm,
    ShortText,
    WholeNumber,
    acted,
    actor,
    form_view,
    here,
    id_of,
    once_a_form,
    page,
    room_here,
    show,
)
from gearroom.site.web.page.words import ITEM_KINDS
from gearroom.site.web.scan.pictures import picture_of
from gearroom.site.web.stock import item_editing
from gearroom.site.web.stock.item_editing import LONGEST_CODE
from kits.models import Item, Place, Receipt
from kits.rules.ledger.facts import Kind
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.orders import on_order, orders
from kits.services.stock import moving, receiving, views
from kits.services.stock.order_levels import deliveries
from kits.services.text import wording
from kits.services.text.wording import good_until
from labels.rules.codes.gs1 import FNC1
from labels.rules.codes.scans import Intent, Means, Readings, typed_texts
from labels.rules.codes.typed import TextKind as TextKind, resolve
from labels.services.scan import pack_scans, read_picture, scanning
from labels.services.scan.results import Outcome, ScanRequest

_PACKS = range(1, 7)
NO_ORDER = "none"
"""What a form says of a delivery that is of no order."""


@page("receive")
def receive(request: HttpRequest) -> HttpResponse:
    """The page: a code to read, then what it is, how many and on which shelf."""
    if request.method != "POST":
        return _page(request, _chosen(request))
    try:
        if "shelf" in request.POST:
            return acted(request, lambda act: _receive(act, request.POST), to=reverse("receive"))
        return _page(request, _scanned(request))
    except Problem as problem:
        return _page(request, _sent_again(request), problem)


# ---------------------------------------------------------------------------------- what was read
def _scanned(request: HttpRequest) -> dict[str, Any]:
    """What was read by the form, written down as scanned."""
    look, text = _look(request)

    def perform(act: Act) -> dict[str, Any]:
        outcome = _most_telling(scanning.scan(act, look, ScanRequest(Intent.RECEIVE)).outcomes)
        if outcome.problem is not None and outcome.means == Means.OTHER:
            sentence = _("“%(text)s” is neither a maker’s code nor one of our labels. Scan the "
                     "code on the pack again, or choose the item by hand.")  # fmt: skip
            raise Invalid(sentence % {"text": printable(outcome.seen.text)}, field="text")
        if outcome.problem is not None:
            raise outcome.problem
        label = outcome.label
        if outcome.means == Means.SHELF and label is not None:
            waiting = request.POST.get("waiting", "")[:LONGEST_CODE]
            return {"packs": _packs_of(request, waiting), "text": waiting, "shelf": label.place_id}
        if outcome.means == Means.LOT and label is not None and label.lot is not None:
            packs = [_of_batch(label.lot)]
        else:
            packs = [_pack(asdict(pack)) for pack in outcome.packs]
        return {
            "packs": packs,
            "again": outcome.again,
            "text": text or outcome.seen.text,
            "shelf": id_of(request.POST.get("at", "")),
        }

    return once_a_form(request, perform)  # type: ignore[no-any-return]  # what `perform` gives


def _most_telling(outcomes: Sequence[Outcome]) -> Outcome:
    """Of several codes in one photo, the one that says most: boxes carry their retail code beside
    the one with batch and date."""
    return max(
        outcomes,
        key=lambda each: (
            each.problem is None,
            any(pack.number or pack.serial for pack in each.packs),
            any(pack.item for pack in each.packs),
        ),
    )


def _look(request: HttpRequest) -> tuple[Readings, str]:
    if picture := picture_of(request, "image"):
        return read_picture.read(picture, many=True, own=False), ""
    if not (text := request.POST.get("text", "").strip(" \r\n")[:LONGEST_CODE]):
        raise Invalid(
            _("Nothing has been scanned or entered yet. Scan the code on the pack, take a "
              "photo of it, or choose the item by hand.")
        )  # fmt: skip
    return typed_texts([text]), text


def _chosen(request: HttpRequest) -> dict[str, Any]:
    """What an address says: a code that was read before, or a thing chosen by hand."""
    text, shelf = request.GET.get("text", "")[:LONGEST_CODE], request.GET.get("shelf", "")
    chosen = request.GET.get("item", "").strip()
    packs = [_by_hand(find.item(chosen))] if chosen else _packs_of(request, text)
    return {"packs": packs, "text": text, "shelf": id_of(shelf)}


def _packs_of(request: HttpRequest, text: str) -> list[dict[str, Any]]:
    """What a maker's code says, without writing down that it was scanned."""
    room = here(request)
    if room is None or not text:
        return []
    typed = resolve(text, today=receiving.today_in(room), from_gs1_symbol=FNC1 in text)
    if typed.kind != TextKind.MAKER or typed.maker is None:
        return []
    return [_pack(asdict(pack)) for pack in pack_scans.known_packs(typed.maker.candidates)]


def _sent_again(request: HttpRequest) -> dict[str, Any]:
    """What a form that was refused said, to be shown once more."""
    sent = request.POST
    item = Item.objects.filter(pk=id_of(sent.get("item", "")) or 0).first()
    reading: dict[str, Any] = {"packs": [], "text": sent.get("text", "")}
    if item is not None:
        names = ("number", "serial", "expiry", "expiry_printed")
        pack = {
            **_by_hand(item),
            **{name: sent.get(name, "") for name in names},
            "gtin": sent.get("pack_code", ""),
            "units": id_of(sent.get("holds", "")),
            "known": bool(sent.get("known")),
        }
        reading["packs"] = [pack]
    return reading


def _pack(pack: dict[str, Any]) -> dict[str, Any]:
    item = Item.objects.filter(pk=pack["item"]).first() if pack["item"] else None
    return {
        **pack,
        "expiry": pack["expiry"].isoformat() if pack["expiry"] else "",
        "known": bool((pack["number"] or pack["serial"]) and pack["expiry"]),
        **(_needs(item) if item else {}),
    }


def _by_hand(item: Item) -> dict[str, Any]:
    given = dict.fromkeys(("gtin", "number", "serial", "expiry", "expiry_printed"), "")
    return {
        **given, "units": None, "lot": None, "recalled": False, "known": False,
        "item": item.pk, "item_name": item.name, "base_unit": item.base_unit, **_needs(item),
    }  # fmt: skip


def _of_batch(lot: Any) -> dict[str, Any]:
    return {
        **_by_hand(lot.item),
        "number": lot.number,
        "serial": lot.serial,
        "expiry": lot.expiry.isoformat() if lot.expiry else "",
        "lot": lot.pk,
        "recalled": lot.recall_id is not None,
        "known": True,
    }


def _needs(item: Item) -> dict[str, bool]:
    return {
        "instrument": item.kind == Kind.INSTRUMENT,
        "document": item.kind == Kind.DOCUMENT,
        "dated": item.needs_date,
    }


# --------------------------------------------------------------------------------------- the page
def _page(
    request: HttpRequest, reading: dict[str, Any], problem: Problem | None = None
) -> HttpResponse:
    room, who, packs = room_here(request), actor(request), reading["packs"]
    today = receiving.today_in(room).isoformat()
    items = {pack["item"] for pack in packs if pack["item"]}
    paid = deliveries.last_prices(items, room) if items else {}
    lines = on_order.open_lines([room]) if items else []
    to_come = grouped((line.item.pk, line) for line in lines)
    return show(
        request,
        "site/stock/receive/receive.html",
        problem=problem,
        room=room,
        reading=reading,
        packs=[
            {
                **pack,
                "past": "" < pack["expiry"] < today,
                "orders": to_come.get(pack["item"], ()),
                **_as_last_time(paid.get(pack["item"])),
            }
            for pack in packs
        ],
        counts=_PACKS,
        count=request.POST.get("packs") or "1",
        values=request.POST,
        shelves=_shelves(who, room, items, reading.get("shelf")) if items else [],
        things=Item.objects.active().order_by("name"),
        kinds=ITEM_KINDS,
        may_enter=who.may("edit_item"),
    )


def _as_last_time(paid: Receipt | None) -> dict[str, str]:
    """From whom an item came last time, and in which currency it was paid."""
    return {
        "supplier": str(paid.supplier) if paid else "",
        "currency": paid.currency if paid else "",
    }


def _shelves(who: Actor, room: Room, items: set[int], chosen: int | None) -> list[Place]:
    """The room's shelves: the one that was scanned, then those that have the item, then others."""
    has = {row.place.pk for row in views.held_batches(who, room=room) if row.lot.item_id in items}
    return sorted(
        [each.place for each in views.shelves(room)],
        key=lambda place: (place.pk != chosen, place.pk not in has),
    )


# -------------------------------------------------------------------------------------- writing it
class ReceiptForm(PageForm):
    """What arrived: so many packs of an item, of one batch, from somebody."""

    item = ShortText()
    packs = WholeNumber(least=1, label=gettext_lazy("How many"))
    holds = WholeNumber(least=1, required=False, label=gettext_lazy("Units in a pack"))
    pack_code = ShortText()
    number = ShortText(80)
    serial = ShortText(80)
    expiry = ShortText(40)
    expiry_printed = ShortText(40)
    supplier = ShortText(120)
    price = Money(required=False, label=gettext_lazy("Price"))
    currency = ShortText(12)
    order = ShortText(20)


def _receive(act: Act, sent: QueryDict) -> Done:
    shelf = find.shelf(act.actor, sent.get("shelf", ""))
    packs = sent.get("many", "").strip() or sent.get("packs", "")
    values = ReceiptForm.read({**sent.dict(), "packs": packs})
    count, holds = values.pop("packs"), values.pop("holds")
    printed = [values.pop("expiry"), values.pop("expiry_printed")]
    today = receiving.today_in(moving.room_of(shelf, None))
    values["currency"] = "" if values["price"] is None else values["currency"].upper()
    order = values.pop("order")
    if order and order != NO_ORDER:
        values["order"] = orders.order(act.actor, id_of(order) or 0).order
    values["of_order"] = order != NO_ORDER
    done = receiving.receive(
        act,
        shelf=shelf,
        expiry=lots.printed_expiry(printed[0] or printed[1], today=today),
        **({"packs": count, "pack_holds": holds} if holds else {"units": count}),
        **{**values, "item": find.item(values["item"])},
    )
    facts = {
        "units": done.units,
        "thing": done.lot.item.name,
        "place": wording.place(done.place.kind, done.place.name, with_room=False),
    }
    sentence = ngettext(
        "%(units)d × %(thing)s received. Put away in: %(place)s.",
        "%(units)d × %(thing)s received. Put away in: %(place)s.",
        done.units,
    )
    said = [sentence % facts, good_until(done.lot.expiry), *(r.text for r in done.remarks)]
    return Done(" ".join(filter(None, said)), done.entry.pk)


def _new_item_refused(request: HttpRequest, problem: Problem) -> HttpResponse:
    unknown = dict.fromkeys(("number", "serial", "expiry", "item_name", "base_unit"), "")
    pack = {**unknown, "gtin": request.POST.get("gtin", ""), "item": None, "units": None}
    text = request.POST.get("text", "")[:LONGEST_CODE]
    return _page(request, {"packs": [pack], "text": text, "shelf": None}, problem)


@form_view("edit_item", refused=_new_item_refused)
def new_item(act: Act, request: HttpRequest) -> Done:
    """Say what a pack with an unknown code is: a new item, or one that is known already."""
    if request.POST.get("as") == "known":
        item = find.item(request.POST.get("item", "").strip())
        sentence = _("From now on, packs with this code will be recorded as %(thing)s.")
    else:
        item = item_editing.add_item(act, request.POST)
        sentence = _(
            "%(thing)s has been added as a new item. Complete its details on its page under Stock."
        )
    query = item_editing.add_pack_code(act, item, request.POST)
    return Done(sentence % {"thing": item.name}, to=f"{reverse('receive')}?{query}")
