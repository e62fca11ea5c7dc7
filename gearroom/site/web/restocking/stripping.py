"""A bought, filled kit taken apart line by line: kept in place, onto a shelf, for training, thrown
out. Each line is written at once; what remains to be added and the cost stand beside it. And a kit
emptied for good the same way, which may then be retired."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem, refuse_first
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
    page,
    read_field,
    read_page,
    show,
    words,
)
from gearroom.site.web.scan.pictures import picture_of
from gearroom.site.web.stock import item_editing
from gearroom.site.web.stock.item_editing import LONGEST_CODE
from kits.models import Disposal, Item, Kit
from kits.rules.buying.bought_kit import Fate
from kits.rules.ledger.facts import Kind, Level
from kits.rules.stock.disposal import allowed
from kits.services.ledger import LooseLevel, lots, readiness
from kits.services.lookup import find, holders
from kits.services.restocking import building, emptying, stripping
from kits.services.restocking.building import BoughtItem
from kits.services.restocking.emptying import Destination, EmptyLine
from kits.services.text import buying_texts, wording
from kits.services.text.wording import good_until
from labels.rules.codes.scans import Reading
from labels.rules.codes.typed import TextKind as TextKind, resolve
from labels.services.scan import pack_scans
from labels.services.scan.read_picture import read

_NEAR = 12
_NOTHING: dict[str, Any] = dict.fromkeys(("number", "serial", "expiry", "gtin", "units"), "")


# ----------------------------------------------------------------------------- which kit it becomes
@read_page("strip")
def start(request: HttpRequest) -> HttpResponse:
    """Choose which kit the bought one becomes."""
    who, room = actor(request), here(request)
    rows = find.kits_of(who).active().order_by("name")
    return show(
        request,
        "site/restocking/strip/start.html",
        kits=[kit for kit in rows if who.may("strip", kit.room_id)],
        may_add=room is not None and who.may("edit_kit", room.pk),
    )


# ----------------------------------------------------------------------------------- line by line
@page("strip")
def strip(request: HttpRequest, kit: str) -> HttpResponse:
    """Scan or name an item that came in it, then tap where it goes."""
    of, sent = find.kit(actor(request), kit), request.POST
    actor(request).require("strip", of.room_id)
    try:
        if "goes" in sent:
            return acted(request, lambda act: _write_line(act, of, sent), to=request.path)
        return _page(request, of, *_read(request, of))
    except Problem as problem:
        return _page(request, of, _sent_again(sent), problem=problem)


def _page(
    request: HttpRequest,
    kit: Kit,
    packs: list[dict[str, Any]],
    near: Sequence[Item] = (),
    problem: Problem | None = None,
) -> HttpResponse:
    who, progress = actor(request), stripping.progress(kit)
    return show(
        request,
        "site/restocking/strip/strip.html",
        problem=problem,
        kit=kit,
        progress=progress,
        out=holders.open_checkout(kit),
        packs=[_with_destinations(kit, pack, progress) for pack in packs],
        near=near,
        text=(request.POST.get("text") or request.GET.get("text", ""))[:LONGEST_CODE],
        values=request.POST,
        things=Item.objects.active().values_list("name", flat=True),
        reasons=buying_texts.REASONS.values(),
        kinds=words.ITEM_KINDS,
        may_enter=who.may("edit_item"),
        may_undo=who.may("take_back"),
    )


def _with_destinations(
    kit: Kit, pack: dict[str, Any], progress: stripping.Progress
) -> dict[str, Any]:
    """A thing with all the places that it may go to."""
    if (item := pack["item"]) is None:
        return pack
    try:
        expiry = date.fromisoformat(pack["expiry"])
    except ValueError:
        expiry = None
    options = allowed(Kind(item.kind), item.disposal)
    places = stripping.places_for(kit, [item])[item.pk]
    return {
        **pack,
        "instrument": item.kind == Kind.INSTRUMENT,
        "proposed": str(stripping.proposed(kit, item, expiry, progress.wanted)),
        "sections": places.sections,
        "levels": [(Level.FULL, _("full")), (Level.LOW, _("low"))],
        "shelves": places.shelves,
        "taught": item.for_class,
        "ways": [(way, words.DISPOSALS[Disposal(way)]) for way in options],
    }


# ------------------------------------------------------------------------------------ what was read
def _read(request: HttpRequest, kit: Kit) -> tuple[list[dict[str, Any]], Sequence[Item]]:
    """What a code, a label, a name or a photo says, and items of nearly that name."""
    chosen, text = request.GET.get("item", ""), request.GET.get("text", "").strip(" \r\n")
    text = text[:LONGEST_CODE]
    if picture := picture_of(request, "image"):
        codes = list(read(picture, own=False).seen)
    elif request.method == "POST":
        raise Invalid(
            _("Nothing has been scanned or entered yet. Scan the item’s code or type its name.")
        )
    elif chosen:
        return [{**_NOTHING, "item": find.item(chosen)}], []
    elif not text:
        return [], []
    else:
        near = list(Item.objects.active().filter(name__icontains=text[:120])[:_NEAR])
        exact = [item for item in near if item.name.casefold() == text.casefold()]
        if near:
            return ([{**_NOTHING, "item": exact[0]}], []) if exact else ([], near)
        codes = [Reading(text)]
    for packs in (_packs(kit, code) for code in codes):
        if packs:
            return packs, []
    raise Invalid(
        _(
            "No item here has this name or code. Type part of the item’s name, or add it as a "
            "new item below."
        ),
        field="text",
    )


def _packs(kit: Kit, code: Reading) -> list[dict[str, Any]]:
    """The readings of a maker's code, or the batch that a label of ours is on."""
    typed = resolve(code.text, today=readiness.today_of(kit), from_gs1_symbol=code.is_gs1)
    if typed.kind == TextKind.OWN and typed.code:
        lot = find.lot(typed.code)
        expiry = lot.expiry.isoformat() if lot.expiry else ""
        known = {"number": lot.number, "serial": lot.serial, "expiry": expiry}
        return [{**_NOTHING, **known, "item": lot.item}]
    if typed.kind != TextKind.MAKER or typed.maker is None:
        return []
    readings = pack_scans.known_packs(typed.maker.candidates)
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


def _sent_again(sent: QueryDict) -> list[dict[str, Any]]:
    """What a line that was refused said, to be shown once more."""
    item = Item.objects.filter(pk=id_of(sent.get("item", "")) or 0).first()
    return [{**{name: sent.get(name, "") for name in _NOTHING}, "item": item}] if item else []


# -------------------------------------------------------------------------------------- writing it
class LineForm(PageForm):
    """A batch that came in the kit, and what was paid."""

    item = ShortText()
    reason = ShortText()
    number = ShortText(80)
    expiry = ShortText(40)
    serial = ShortText(80)
    whole_price = Money(required=False, label=gettext_lazy("Price of the bought kit"))
    price = Money(required=False, label=gettext_lazy("Price of these items alone"))
    supplier = ShortText(120)
    currency = ShortText(12)


def _write_line(act: Act, kit: Kit, sent: QueryDict) -> Done:
    values = LineForm.read(sent)
    item, whole_price = find.item(values["item"]), values["whole_price"]
    priced = whole_price is not None or values["price"] is not None
    goes, _colon, where = sent.get("goes", "").partition(":")
    bought = None
    if goes != "level":
        units = read_field(WholeNumber(least=1, label=_("How many")), sent, "units")
        bought = bought_item(act, kit, item, units, sent.get("goes", ""), values)
    done = building.strip(
        act,
        kit,
        [] if bought is None else [bought],
        levels=[loose_level(kit, item, where)] if bought is None else (),
        supplier=values["supplier"],
        price=whole_price,
        currency=values["currency"].upper() if priced else "",
    )
    if bought is None:
        return Done(_("%(thing)s stays where it is.") % {"thing": item.name}, done.entry.pk)
    place = done.went[0][1]
    sentence = _("Recorded: %(units)d × %(thing)s, %(place)s.") % {
        "units": bought.units,
        "thing": item.name,
        "place": wording.place(place.kind, place.name, with_room=False),
    }
    return Done(f"{sentence} {good_until(bought.expiry)}".strip(), done.entry.pk)


def bought_item(
    act: Act, kit: Kit, item: Item, units: int, to: str, values: Mapping[str, Any]
) -> BoughtItem:
    """Units of an item that go `to` a place, as `FATE:WHERE`; `values` as a form of a batch has
    them, and its `row`, if it is one of several. Raises Invalid."""
    goes, _colon, where = to.partition(":")
    _refuse_no_place(list(Fate), goes, where)
    fate, row = Fate(goes), values.get("row")
    return BoughtItem(
        item=item,
        units=units,
        fate=fate,
        reason=values["reason"],
        number=values["number"],
        expiry=lots.printed_expiry(
            values["expiry"],
            today=readiness.today_of(kit),
            field="expiry" if row is None else f"expiry-{row}",
        ),
        serial=values.get("serial", ""),
        section=find.section(kit, where) if fate is Fate.KEEP else None,
        shelf=find.shelf(act.actor, where) if fate is Fate.SHELF else None,
        disposal=Disposal(where) if fate is Fate.DISPOSE else None,
        price=values.get("price"),
    )


def _refuse_no_place(places: Sequence[str], goes: str, where: str) -> None:
    """Raise Invalid where no place was tapped, or not how it is disposed of."""
    refuse_first(
        (goes not in places, Invalid(_("Tap where the item goes."), field="goes")),
        (
            goes == Fate.DISPOSE and where not in Disposal.values,
            Invalid(_("Tap how to dispose of the item."), field="goes"),
        ),
    )


def loose_level(kit: Kit, item: Item, where: str) -> LooseLevel:
    """What is loose stays in the kit at a level, as `SECTION:LEVEL`. Raises Invalid."""
    key, _colon, level = where.rpartition(":")
    if level not in list(Level) or not item.by_eye:
        raise Invalid(_("Tap “full” or “low”."), field="goes")
    return LooseLevel(find.section(kit, key), item, Level(level))


def _new_item_refused(request: HttpRequest, kit: str, problem: Problem) -> HttpResponse:
    pack = {**_NOTHING, "item": None, "gtin": request.POST.get("gtin", "")}
    return _page(request, find.kit(actor(request), kit), [pack], problem=problem)


@form_view("edit_item", refused=_new_item_refused)
def new_item(act: Act, request: HttpRequest, kit: str) -> Done:
    """An item that came in a bought kit and is new here."""
    of, item = find.kit(act.actor, kit), item_editing.add_item(act, request.POST)
    query = item_editing.add_pack_code(act, item, request.POST)
    return Done(
        _("%(thing)s has been added as a new item. Now enter how many came and where they go.")
        % {"thing": item.name},
        to=f"{reverse('strip-kit', args=[of.name])}?{query}",
    )


# --------------------------------------------------------------------------------- emptied for good
def _empty_page(request: HttpRequest, kit: str, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = find.kit(who, kit)
    who.require("strip", of.room_id)
    return show(
        request,
        "site/restocking/empty.html",
        problem=problem,
        kit=of,
        out=holders.open_checkout(of),
        rows=_rows(of),
        values=request.POST,
        may_retire=who.may("edit_kit", of.home_room_id),
    )


def _rows(kit: Kit) -> list[dict[str, Any]]:
    inside = list(emptying.inside(kit))
    places = stripping.places_for(kit, [held.lot.item for held in inside])
    return [
        {
            "held": held,
            "ref": f"{held.place.section_key}:{held.lot_id}",
            "taught": held.lot.item.for_class,
            "shelves": [] if kit.training else places[held.lot.item_id].shelves,
            "ways": [
                (way, words.DISPOSALS[Disposal(way)])
                for way in allowed(Kind(held.lot.item.kind), held.lot.item.disposal)
            ],
        }
        for held in inside
    ]


class EmptyForm(PageForm):
    """What is taken out, as `SECTION:LOT`, and where it goes, as `DESTINATION:WHERE`."""

    line = ShortText()
    goes = ShortText()
    units = WholeNumber(least=1, label=gettext_lazy("How many"))
    reason = ShortText()


@form_view("strip", "empty-kit", page_of=_empty_page)
def empty(act: Act, request: HttpRequest, kit: str) -> Done:
    """What is in it, and where each goes."""
    of, values = find.kit(act.actor, kit), EmptyForm.read(request.POST)
    section, _colon, lot = values["line"].rpartition(":")
    goes, _colon, where = values["goes"].partition(":")
    _refuse_no_place(list(Destination), goes, where)
    line = EmptyLine(
        section=find.section(of, section),
        lot=find.lot(lot),
        units=values["units"],
        way=Destination(goes),
        reason=values["reason"],
        shelf=find.shelf(act.actor, where) if goes == Destination.SHELF else None,
        disposal=Disposal(where) if goes == Destination.DISPOSE else None,
    )
    done = emptying.empty(act, of, [line])
    place = done.went[0][1]
    return Done(
        _("Recorded: %(units)d × %(thing)s, %(place)s.")
        % {
            "units": line.units,
            "thing": line.lot.item.name,
            "place": wording.place(place.kind, place.name, with_room=False),
        },
        done.entry.pk,
    )
