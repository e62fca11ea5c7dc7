"""Receiving by scanning: a pack's code says what it is, two taps say how many and where.

What a code says is laid out first and written only when the shelf is tapped. A code that nobody
knows here leads to the thing that it is of: a new one, entered with what the code says, or one that
is known already.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem, printable
from gearroom.site.web.page.fields import money, whole, words
from gearroom.site.web.page.shell import Done, acted, actor, here, no_room, once_a_form, page, show
from gearroom.site.web.stock.stock import kind_words
from kits.models import Item, Place
from kits.rules.ledger.facts import Kind
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.stock import catalogue, receiving, views
from labels.rules.codes.gs1 import FNC1
from labels.rules.codes.scans import Intent, Look, Means, typed_texts
from labels.rules.codes.typed import Kind as TextKind
from labels.rules.codes.typed import resolve
from labels.services.scan import pack_scans, scanning
from labels.services.scan.read_picture import look
from labels.services.scan.results import Ask, Outcome

_LONGEST = 8000
_PACKS = range(1, 7)


@page("receive")
def receive(request: HttpRequest) -> HttpResponse:
    """The page: a code to read, then what it is, how many and on which shelf."""
    if request.method != "POST":
        return _shown(request, _told_of(request))
    try:
        if "shelf" in request.POST:
            return _received(request)
        return _shown(request, _scanned(request))
    except Problem as problem:
        return _shown(request, _again(request), problem)


# ---------------------------------------------------------------------------------- what was read
def _scanned(request: HttpRequest) -> dict[str, Any]:
    """What was read by the form, written down as scanned."""
    seen, text = _seen(request)

    def perform(act: Act) -> dict[str, Any]:
        outcome = _best(scanning.scan(act, seen, Ask(Intent.RECEIVE)).outcomes)
        if outcome.problem is not None and outcome.means == Means.OTHER:
            says = _("“%(text)s” is neither a maker’s code nor one of our labels. Scan the "
                     "code on the pack again, or choose the item by hand.")  # fmt: skip
            raise Invalid(says % {"text": printable(outcome.seen.text)}, field="text")
        if outcome.problem is not None:
            raise outcome.problem
        label = outcome.label
        if outcome.means == Means.SHELF and label is not None:
            waiting = request.POST.get("waiting", "")[:_LONGEST]
            return {"packs": _packs_of(request, waiting), "text": waiting, "shelf": label.place_id}
        if outcome.means == Means.LOT and label is not None and label.lot is not None:
            packs = [_of_batch(label.lot)]
        else:
            packs = [_pack(asdict(pack)) for pack in outcome.packs]
        at = request.POST.get("at", "")
        return {
            "packs": packs,
            "again": outcome.again,
            "text": text or outcome.seen.text,
            "shelf": int(at) if _is_id(at) else None,
        }

    return once_a_form(request, perform)  # type: ignore[no-any-return]  # what `perform` gives


def _best(outcomes: Sequence[Outcome]) -> Outcome:
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


def _seen(request: HttpRequest) -> tuple[Look, str]:
    picture = request.FILES.get("image")
    if isinstance(picture, UploadedFile) and picture.size:
        found = look(picture.read(), many=True, own=False)
        picture.seek(0)
        return found, ""
    text = request.POST.get("text", "").strip(" \r\n")[:_LONGEST]
    if not text:
        raise Invalid(
            _("There is nothing to read yet. Scan the code on the pack, take a photo of it, or "
              "choose the item by hand.")
        )  # fmt: skip
    return typed_texts([text]), text


def _told_of(request: HttpRequest) -> dict[str, Any]:
    """What an address says: a code that was read before, or a thing chosen by hand."""
    text, shelf = request.GET.get("text", "")[:_LONGEST], request.GET.get("shelf", "")
    chosen = request.GET.get("item", "").strip()
    packs = [_by_hand(find.item(chosen))] if chosen else _packs_of(request, text)
    return {"packs": packs, "text": text, "shelf": int(shelf) if _is_id(shelf) else None}


def _packs_of(request: HttpRequest, text: str) -> list[dict[str, Any]]:
    """What a maker's code says, without writing down that it was scanned."""
    room = here(request)
    if room is None or not text:
        return []
    typed = resolve(text, today=receiving.today_in(room), from_gs1_symbol=FNC1 in text)
    if typed.kind != TextKind.MAKER or typed.maker is None:
        return []
    return [_pack(asdict(pack)) for pack in pack_scans.packs_seen(typed.maker.candidates)]


def _is_id(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 10


def _again(request: HttpRequest) -> dict[str, Any]:
    """What a form that was refused said, to be shown once more."""
    said = request.POST
    told: dict[str, Any] = {"packs": [], "text": said.get("text", "")}
    if not _is_id(said.get("item", "")):
        return told
    found = Item.objects.filter(pk=int(said["item"])).first()
    if found is not None:
        given = {name: said.get(name, "") for name in ("number", "serial", "expiry_printed")}
        holds = said.get("holds", "")
        told["packs"] = [
            {
                **_by_hand(found),
                **given,
                "gtin": said.get("pack_code", ""),
                "expiry": said.get("expiry", ""),
                "units": int(holds) if _is_id(holds) else None,
                "known": bool(said.get("known")),
            }
        ]
    return told


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
    return {"instrument": item.kind == Kind.INSTRUMENT, "dated": item.needs_date}


# --------------------------------------------------------------------------------------- the page
def _shown(
    request: HttpRequest, told: dict[str, Any], problem: Problem | None = None
) -> HttpResponse:
    room = here(request)
    if room is None:
        return no_room(request)
    who = actor(request)
    items = [pack["item"] for pack in told["packs"] if pack["item"]]
    today = receiving.today_in(room).isoformat()
    facts = {
        "room": room,
        "told": told,
        "problem": problem,
        "packs": [{**pack, "past": "" < pack["expiry"] < today} for pack in told["packs"]],
        "counts": _PACKS,
        "count": request.POST.get("packs") or "1",
        "said": request.POST,
        "shelves": _shelves(request, items, told.get("shelf")) if items else [],
        "things": Item.objects.active().order_by("name"),
        "kinds": kind_words(),
        "may_enter": who.may("edit_item"),
    }
    status = problem.status if problem else 200
    return show(request, "site/stock/receive.html", facts, status=status)


def _shelves(request: HttpRequest, items: list[int], chosen: int | None) -> list[Place]:
    """The room's shelves: the one that was scanned, then those that have the thing, then others."""
    room = here(request)
    assert room is not None  # the page looks
    who = actor(request)
    has = {row.place.pk for row in views.held_batches(who, room=room) if row.lot.item_id in items}
    found = [each.place for each in views.shelves(room)]
    return sorted(found, key=lambda place: (place.pk != chosen, place.pk not in has))


# -------------------------------------------------------------------------------------- writing it
def _received(request: HttpRequest) -> HttpResponse:
    said = request.POST

    def perform(act: Act) -> Done:
        shelf = find.shelf(act.actor, said["shelf"])
        assert shelf.room is not None  # a shelf is a room's
        printed = words(said, "expiry" if said.get("expiry") else "expiry_printed", 40)
        expiry = lots.printed_expiry(printed, today=receiving.today_in(shelf.room))
        many = "many" if said.get("many", "").strip() else "packs"
        count = whole(said, many, least=1, what=_("How many"))
        holds = (
            whole(said, "holds", least=1, what=_("Units in a pack")) if said.get("holds") else None
        )
        price = money(said, "price", _("Price"))
        done = receiving.receive(
            act,
            shelf=shelf,
            item=find.item(said.get("item", "")),
            **({"packs": count, "pack_holds": holds} if holds else {"units": count}),
            pack_code=said.get("pack_code", ""),
            number=words(said, "number", 80),
            serial=words(said, "serial", 80),
            expiry=expiry,
            supplier=words(said, "supplier", 120),
            price=price,
            currency=words(said, "currency", 3).upper() if price is not None else "",
        )
        told = {"units": done.units, "thing": done.lot.item.name, "place": done.place.name}
        says = ngettext(
            "%(units)d × %(thing)s is on record: %(place)s.",
            "%(units)d × %(thing)s are on record: %(place)s.",
            done.units,
        )
        return Done(" ".join([says % told, *(r.text for r in done.remarks)]), done.entry.pk)

    return acted(request, perform, to=reverse("receive"))


@require_POST
@page("edit_item")
def new_thing(request: HttpRequest) -> HttpResponse:
    """Say what a pack with an unknown code is: a new thing, or one that is known already."""
    said = request.POST
    text = said.get("text", "")[:_LONGEST]

    def perform(act: Act) -> Done:
        if said.get("as") == "known":
            item = find.item(words(said, "item", 120))
            says = _("Packs with this code are %(thing)s from now on.") % {"thing": item.name}
        else:
            item = _entered(act)
            says = _("%(thing)s is a new item here. Complete it on its page under Stock.") % {
                "thing": item.name
            }
        if said.get("gtin"):
            holds = whole(said, "holds", least=1, what=_("Units in a pack"))
            catalogue.put_pack_code(act, item, gtin=said["gtin"], units_per_pack=holds)
        query = {"text": text} if said.get("gtin") and text else {"item": str(item.pk)}
        return Done(says, None, reverse("receive") + "?" + urlencode(query))

    def _entered(act: Act) -> Item:
        kind = said.get("kind", "")
        if kind not in list(Kind):
            raise Invalid(_("Choose the kind of item."), field="kind")
        return catalogue.add_item(
            act,
            name=words(said, "name", 120),
            kind=kind,
            base_unit=words(said, "base_unit", 40),
            sterile=bool(said.get("sterile")),
            needs_date=bool(said.get("needs_date")),
        )

    try:
        return acted(request, perform, to=reverse("receive"))
    except Problem as problem:
        told = {"packs": [], "text": text, "shelf": None}
        unknown = dict.fromkeys(("number", "serial", "expiry", "item_name", "base_unit"), "")
        told["packs"] = [{**unknown, "gtin": said.get("gtin", ""), "item": None, "units": None}]
        return _shown(request, told, problem)
