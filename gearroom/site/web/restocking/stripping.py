"""A bought, filled kit taken apart line by line: kept in place, onto a shelf, for training, thrown
out. Each line is written at once; what remains to be added and the cost stand beside it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page import fields, words
from gearroom.site.web.page.shell import Done, acted, actor, here, page, show
from gearroom.site.web.stock.stock import kind_words
from kits.models import Disposal, Item, Kit
from kits.rules.ledger.facts import Kind, Level
from kits.rules.stock.disposal import allowed
from kits.services.ledger import lots, readiness
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find, holders
from kits.services.restocking import building, stripping
from kits.services.restocking.building import BoughtItem, Fate
from kits.services.stock import catalogue
from labels.rules.codes.scans import Seen
from labels.rules.codes.typed import Kind as TextKind
from labels.rules.codes.typed import resolve
from labels.services.scan import pack_scans
from labels.services.scan.read_picture import look

_LONGEST = 8000
_NEAR = 12
_NOTHING: dict[str, Any] = dict.fromkeys(("number", "serial", "expiry", "gtin", "units"), "")


# ----------------------------------------------------------------------------- which kit it becomes
@require_safe
@page("strip")
def start(request: HttpRequest) -> HttpResponse:
    """Choose which kit the bought one becomes."""
    who, room = actor(request), here(request)
    rows = find.kits_of(who).active().order_by("name")
    facts = {
        "kits": [kit for kit in rows if who.may("strip", kit.room_id)],
        "may_add": room is not None and who.may("edit_kit", room.pk),
    }
    return show(request, "site/restocking/strip_start.html", facts)


# ----------------------------------------------------------------------------------- line by line
@page("strip")
def strip(request: HttpRequest, kit: str) -> HttpResponse:
    """Scan or name a thing that came in it, then tap where it goes."""
    found = find.kit(actor(request), kit)
    actor(request).require("strip", found.room_id)
    try:
        if request.method == "POST" and "goes" in request.POST:
            return _line_written(request, found)
        return _strip_page(request, found, *_read(request, found))
    except Problem as problem:
        return _strip_page(request, found, _again(request), problem=problem)


def _strip_page(
    request: HttpRequest,
    kit: Kit,
    told: list[dict[str, Any]],
    near: list[Item] | None = None,
    problem: Problem | None = None,
) -> HttpResponse:
    seen = stripping.progress(kit)
    facts = {
        "kit": kit,
        "seen": seen,
        "out": holders.open_checkout(kit),
        "problem": problem,
        "packs": [_ways(kit, pack, seen) for pack in told],
        "near": near or [],
        "text": (request.POST.get("text") or request.GET.get("text", ""))[:_LONGEST],
        "said": request.POST,
        "things": Item.objects.active().values_list("name", flat=True),
        "kinds": kind_words(),
        "may_enter": actor(request).may("edit_item"),
        "may_undo": actor(request).may("take_back"),
    }
    status = problem.status if problem else 200
    return show(request, "site/restocking/strip.html", facts, status=status)


def _ways(kit: Kit, pack: dict[str, Any], seen: stripping.Progress) -> dict[str, Any]:
    """A thing with all the places that it may go to."""
    item = pack["item"]
    if item is None:
        return pack
    try:
        expiry = date.fromisoformat(pack["expiry"])
    except ValueError:
        expiry = None
    ways = allowed(Kind(item.kind), item.disposal)
    return {
        **pack,
        "instrument": item.kind == Kind.INSTRUMENT,
        "proposed": str(stripping.proposed(kit, item, expiry, seen.wanted)),
        "sections": stripping.sections_for(kit, item),
        "levels": [(Level.FULL, _("full")), (Level.LOW, _("low"))],
        "shelves": stripping.shelves_for(kit, item),
        "ways": [(way, words.DISPOSALS[Disposal(way)]) for way in ways],
    }


# ------------------------------------------------------------------------------------ what was read
def _read(request: HttpRequest, kit: Kit) -> tuple[list[dict[str, Any]], list[Item]]:
    """What a code, a label, a name or a photo says, and things of nearly that name."""
    picture = request.FILES.get("image")
    if isinstance(picture, UploadedFile) and picture.size:
        every = list(look(picture.read(), own=False).seen)
    elif request.method == "POST":
        raise Invalid(_("There is nothing to read yet. Scan its code, or type its name."))
    else:
        chosen = request.GET.get("item", "")
        if chosen:
            return [{**_NOTHING, "item": find.item(chosen)}], []
        text = request.GET.get("text", "").strip(" \r\n")[:_LONGEST]
        if not text:
            return [], []
        named = list(Item.objects.active().filter(name__icontains=text[:120])[:_NEAR])
        exact = [item for item in named if item.name.casefold() == text.casefold()]
        if exact or named:
            return ([{**_NOTHING, "item": exact[0]}], []) if exact else ([], named)
        every = [Seen(text)]
    for each in every:
        packs = _packs(kit, each)
        if packs:
            return packs, []
    raise Invalid(
        _(
            "No item here has that name or code. Type part of its name, or enter it as a new "
            "item below."
        ),
        field="text",
    )


def _packs(kit: Kit, seen: Seen) -> list[dict[str, Any]]:
    """The readings of a maker's code, or the batch that a label of ours is on."""
    typed = resolve(seen.text, today=readiness.today_of(kit), from_gs1_symbol=seen.is_gs1)
    if typed.kind == TextKind.OWN and typed.code:
        lot = find.lot(typed.code)
        expiry = lot.expiry.isoformat() if lot.expiry else ""
        known = {"number": lot.number, "serial": lot.serial, "expiry": expiry}
        return [{**_NOTHING, **known, "item": lot.item}]
    if typed.kind != TextKind.MAKER or typed.maker is None:
        return []
    readings = pack_scans.packs_seen(typed.maker.candidates)
    items = Item.objects.in_bulk([pack.item for pack in readings if pack.item])
    return [
        {
            "item": items.get(pack.item or 0),
            "number": pack.number,
            "serial": "" if pack.number else pack.serial,
            "expiry": pack.expiry.isoformat() if pack.expiry else "",
            "gtin": pack.gtin,
            "units": pack.units or "",
            "recalled": pack.recalled,
        }
        for pack in readings
    ]


def _again(request: HttpRequest) -> list[dict[str, Any]]:
    """What a line that was refused said, to be shown once more."""
    said = request.POST
    ref = said.get("item", "")
    item = Item.objects.filter(pk=ref).first() if ref.isdecimal() and len(ref) < 19 else None
    if item is None:
        return []
    return [{**{name: said.get(name, "") for name in _NOTHING}, "item": item}]


# -------------------------------------------------------------------------------------- writing it
def _line_written(request: HttpRequest, kit: Kit) -> HttpResponse:
    said = request.POST

    def perform(act: Act) -> Done:
        item = find.item(said.get("item", ""))
        price = fields.money(said, "whole_price", _("What the bought kit cost"))
        alone = fields.money(said, "price", _("What these alone cost"))
        priced = price is not None or alone is not None
        goes, _colon, where = said["goes"].partition(":")
        level = goes == "level"
        thing = None if level else _thing(act, kit, item, goes, where, said)
        done = building.strip(
            act,
            kit,
            [] if thing is None else [replace(thing, price=alone)],
            levels=[_level(kit, item, where)] if level else (),
            supplier=fields.words(said, "supplier", 120),
            price=price,
            currency=fields.words(said, "currency", 3).upper() if priced else "",
        )
        told = {"thing": item.name, "place": _place_of(done, where)}
        if thing is None:
            says = _("%(thing)s stays in its place.") % told
        else:
            says = _("%(units)d × %(thing)s: %(place)s.") % {**told, "units": thing.units}
        return Done(says, done.entry.pk)

    return acted(request, perform, to=reverse("strip-kit", args=[kit.name]))


def _thing(act: Act, kit: Kit, item: Item, goes: str, where: str, said: Any) -> BoughtItem:
    try:
        fate = Fate(goes)
    except ValueError:
        raise Invalid(_("Tap where it goes."), field="goes") from None
    if fate is Fate.DISPOSE and where not in Disposal.values:
        raise Invalid(_("Tap how it is disposed of."), field="goes")
    return BoughtItem(
        item=item,
        units=fields.whole(said, "units", least=1, what=_("How many")),
        fate=fate,
        reason=fields.words(said, "reason"),
        number=fields.words(said, "number", 80),
        expiry=lots.printed_expiry(
            fields.words(said, "expiry", 40), today=readiness.today_of(kit), field="expiry"
        ),
        serial=fields.words(said, "serial", 80),
        section=find.section(kit, where) if fate is Fate.KEEP else None,
        shelf=find.shelf(act.actor, where) if fate is Fate.SHELF else None,
        disposal=Disposal(where) if fate is Fate.DISPOSE else None,
    )


def _level(kit: Kit, item: Item, where: str) -> LooseLevel:
    key, _colon, level = where.rpartition(":")
    if level not in list(Level) or not item.by_eye:
        raise Invalid(_("Tap whether it is full or low."), field="goes")
    return LooseLevel(find.section(kit, key), item, Level(level))


def _place_of(done: building.StripResult, where: str) -> str:
    if not done.went:
        return where
    place = done.went[0][1]
    return str(words.DISPOSALS.get(place.kind, place.name))


@require_POST
@page("edit_item")
def new_thing(request: HttpRequest, kit: str) -> HttpResponse:
    """A thing that came in a bought kit and is new here."""
    found = find.kit(actor(request), kit)
    said = request.POST

    def perform(act: Act) -> Done:
        kind = said.get("kind", "")
        if kind not in list(Kind):
            raise Invalid(_("Choose the kind of item."), field="kind")
        item = catalogue.add_item(
            act,
            name=fields.words(said, "name", 120),
            kind=kind,
            base_unit=fields.words(said, "base_unit", 40),
            sterile=bool(said.get("sterile")),
            needs_date=bool(said.get("needs_date")),
        )
        query = {"item": str(item.pk)}
        if said.get("gtin"):
            holds = fields.whole(said, "holds", least=1, what=_("How many in a pack"))
            catalogue.put_pack_code(act, item, gtin=said["gtin"], units_per_pack=holds)
            query = {"text": said.get("text", "")[:_LONGEST]}
        says = _("%(thing)s is a new item here. Now enter how many came, and where they go.")
        there = reverse("strip-kit", args=[found.name]) + "?" + urlencode(query)
        return Done(says % {"thing": item.name}, to=there)

    try:
        return acted(request, perform, to=reverse("strip-kit", args=[found.name]))
    except Problem as problem:
        told = [{**_NOTHING, "item": None, "gtin": said.get("gtin", "")}]
        return _strip_page(request, found, told, problem=problem)
