"""The first kit: rows from the example list, from pasted lines, from makers' codes or typed, all on
one page; then how the kit stands, and what the first hour gives back."""

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem, Unacceptable, printable
from gearroom.core.models import Room
from gearroom.site.web.installation.path import neighbours
from gearroom.site.web.page import (
    Choice,
    Done,
    Line,
    PageForm,
    Several,
    Tick,
    WholeNumber,
    acted,
    actor,
    is_offered,
    page,
    read_page,
    room_here,
    show,
)
from gearroom.site.web.page.words import CRITICALITIES, HAZARDS, ITEM_KINDS
from gearroom.site.web.scan.pictures import picture_of
from kits.models import Item, Kit
from kits.rules.ledger import Criticality, Kind
from kits.rules.lists import pasting
from kits.rules.overview.first_kit import MOST_ROWS, Ask, Names, Question, TypedRow, counted
from kits.rules.overview.workbook import fold
from kits.rules.recalls import batch_numbers
from kits.services.ledger import hazards_covered
from kits.services.lists import drafts
from kits.services.lookup import find
from kits.services.overview import first_kit
from kits.services.stock import receiving
from kits.services.text import first_day_texts, reason_texts
from kits.services.text.planning.planning_texts import CAUTION
from kits.services.text.wording import in_words
from labels.rules.codes.gs1 import FNC1
from labels.rules.codes.typed import TextKind, resolve
from labels.services.scan import pack_scans, read_picture
from labels.services.scan.results import ScannedPack

_BLANK_ROWS, _KINDS = 4, (Kind.CONSUMABLE, Kind.MEDICINE, Kind.TOOL, Kind.DOCUMENT)
LONGEST_CODE = 300


class KitForm(PageForm):
    """What the kit and its list are called, whom they serve, and against what."""

    kit = Line(40, required=True, message=gettext_lazy("Enter a name for the kit."))
    list = Line(80, required=True, message=gettext_lazy("Enter a name for the kit list."))
    people = WholeNumber(least=1, most=drafts.MOST_PEOPLE, label=gettext_lazy("People"))
    days = WholeNumber(least=1, most=drafts.MOST_DAYS, label=gettext_lazy("Days"))
    hazard = Several()


class RowForm(PageForm):
    """A row, as it was typed. (What its texts mean is asked of the rules.)"""

    name = Line(120, required=False)
    there = Line(10, required=False)
    carry = Line(10, required=False)
    expiry = Line(30, required=False)
    number = Line(40, required=False)
    kind = Choice(Kind, required=False, initial=Kind.CONSUMABLE)
    matters = Choice(Criticality, required=False, initial=Criticality.ROUTINE)
    sterile = Tick()
    undated = Tick()
    unnumbered = Tick()
    left_out = Tick()
    unit = Line(40, required=False)
    gtin = Line(14, required=False)
    pack = Line(10, required=False)


@page("edit_item")
def write_down(request: HttpRequest) -> HttpResponse:
    """Choose how to begin; then the rows. Only `save` is an act."""
    for needed in ("edit_list", "edit_kit", "count"):
        actor(request).require(needed)
    room = room_here(request)
    if request.method != "POST":
        return _begun(request, room)
    sent = request.POST
    if "paste" in sent:
        lines = pasting.lines(sent.get("text", ""))[:MOST_ROWS]
        rows = [TypedRow(line.name[:120], carry=str(line.units or 1)) for line in lines]
        return _page(request, room, [*rows, *_blank()])
    try:
        rows = _rows(sent)
        if "read" in sent:
            return _page(request, room, _with_code(request, room, rows), read=True)
        if "more" in sent:
            return _page(request, room, [*rows, *_blank(8)])
        typed = [row for row in rows if _says_something(row)]
        if first_kit.questions(room, typed):
            return _page(request, room, typed, asked=True)
        return acted(request, lambda act: _save(act, room, sent, typed), to=reverse("first-day"))
    except Problem as problem:
        return _page(request, room, _rows_or_none(sent), problem)


def _begun(request: HttpRequest, room: Room) -> HttpResponse:
    match request.GET.get("from", ""):
        case "example":
            return _page(request, room, [*first_kit.example(), *_blank()])
        case "blank":
            return _page(request, room, _blank(10))
    return show(
        request,
        "site/overview/first_day/begin.html",
        path=neighbours("first-kit"),
        caution=CAUTION,
    )


def _save(act: Act, room: Room, sent: QueryDict, rows: list[TypedRow]) -> Done:
    values = KitForm.read(sent)
    names = Names(
        kit=values["kit"],
        list=values["list"],
        section=_("Contents"),
        unit=_("piece"),
        people=values["people"],
        days=values["days"],
        hazards=tuple(values["hazard"]),
    )
    kit = first_kit.add(act, room, names, rows)
    return Done(
        _("%(kit)s and its contents are on record.") % {"kit": kit.name},
        to=reverse("first-kit-result", args=[kit.name]),
    )


# ---------------------------------------------------------------------------------- the rows
def _blank(count: int = _BLANK_ROWS) -> list[TypedRow]:
    return [TypedRow("")] * count


def _rows(sent: QueryDict) -> list[TypedRow]:
    """The rows of the form. Raises Invalid."""
    numbers = sorted(
        int(name[5:]) for name in sent if name.startswith("name-") and name[5:].isdecimal()
    )
    return [TypedRow(**RowForm.read(sent, row=number)) for number in numbers[:MOST_ROWS]]


def _rows_or_none(sent: QueryDict) -> list[TypedRow]:
    try:
        return _rows(sent)
    except Invalid:
        return _blank()


def _says_something(row: TypedRow) -> bool:
    return bool(row.name or row.there or row.carry or row.expiry or row.number or row.gtin)


def _with_code(request: HttpRequest, room: Room, rows: list[TypedRow]) -> list[TypedRow]:
    """The rows, with one more of the pack whose code was read. Raises Invalid, Unacceptable."""
    pack = _pack_read(request, room)
    expiry = pack.expiry.isoformat() if pack.expiry else ""
    code = TypedRow(
        pack.item_name,
        there=str(pack.units or 1),
        expiry=expiry,
        number=pack.number or pack.serial,
        gtin="" if pack.item else pack.gtin,
        pack=str(pack.count or 1) if pack.gtin and not pack.item else "",
    )
    for at, row in enumerate(rows):
        same = (row.gtin, row.number, row.expiry) == (code.gtin, code.number, code.expiry)
        if same and fold(row.name) in (fold(code.name), "" if code.name else fold(row.name)):
            there = str(int(row.there or 0) + int(code.there)) if row.there.isdecimal() else "1"
            return [*rows[:at], replace(row, there=there), *rows[at + 1 :]]
        if code.name and fold(row.name) == fold(code.name) and not row.there:
            filled = replace(row, there=code.there, expiry=code.expiry, number=code.number)
            return [*rows[:at], filled, *rows[at + 1 :]]
    at = next((at for at, row in enumerate(rows) if not _says_something(row)), len(rows))
    return [*rows[:at], code, *rows[at:]][:MOST_ROWS]


def _pack_read(request: HttpRequest, room: Room) -> ScannedPack:
    """The pack whose code was typed, scanned or photographed."""
    if picture := picture_of(request, "image"):
        seen = read_picture.read(picture, many=True, own=False).seen
        texts = [(each.text, each.is_gs1) for each in seen]
    else:
        typed = request.POST.get("batch", "").strip(" \r\n")[:LONGEST_CODE]
        texts = [(typed, FNC1 in typed)] if typed else []
    today = receiving.today_in(room)
    packs = [
        pack
        for text, is_gs1 in texts
        if (of := resolve(text, today=today, from_gs1_symbol=is_gs1)).kind == TextKind.MAKER
        and of.maker is not None
        for pack in pack_scans.known_packs(of.maker.candidates)[:1]
    ]
    if packs:
        return max(packs, key=lambda pack: (bool(pack.number), bool(pack.expiry)))
    read = printable(texts[0][0]) if texts else ""
    raise Unacceptable(
        "nothing-read",
        _("“%(text)s” is not a maker’s code.") % {"text": read}
        if read
        else _("No code has been read. Scan the code on the pack again, or type the row."),
    )


# --------------------------------------------------------------------------------------- the page
def _page(
    request: HttpRequest,
    room: Room,
    rows: list[TypedRow],
    problem: Problem | None = None,
    *,
    asked: bool = False,
    read: bool = False,
) -> HttpResponse:
    open_rows = first_kit.questions(room, rows) if asked else []
    asks = {each.row: _question(each, rows[each.row]) for each in open_rows}
    if asks:
        next(iter(asks.values()))["focus"] = "autofocus"
    return show(
        request,
        "site/overview/first_day/first_kit.html",
        problem=problem,
        status=400 if asked else None,
        rows=[(at, row, asks.get(at), _asks_number(row)) for at, row in enumerate(rows)],
        open_rows=len(open_rows),
        marked_fields=[
            (f"{each['field']}-{at}", rows[at].name or _("Row %(row)d") % {"row": at + 1})
            for at, each in asks.items()
        ],
        values=request.POST,
        names=(first_kit.free_kit_name("KIT-01"), first_kit.free_list_name(_("Group kit"))),
        no_must_have=all(row.matters != Criticality.MUST_HAVE for row in rows),
        things=Item.objects.active().values_list("name", flat=True),
        kinds=[(kind, ITEM_KINDS[kind]) for kind in _KINDS],
        matters=CRITICALITIES.items(),
        hazards=HAZARDS.items(),
        chosen=request.POST.getlist("hazard"),
        read=read,
        caution=CAUTION,
    )


def _question(of: Question, row: TypedRow) -> dict[str, Any]:
    """What is asked about a row: in words, which input it is about, and the days that its date may
    be."""
    text = in_words(of.says) if of.says else first_day_texts.QUESTIONS[of.ask]
    fields = {Ask.NAME: "name", Ask.DATE: "expiry", Ask.NUMBER: "number"}
    wrong = (name for name in ("there", "carry", "pack") if counted(getattr(row, name)) is None)
    field = fields.get(of.ask) or next(wrong, "there")
    return {"ask": str(of.ask), "text": text, "field": field, "readings": of.readings}


def _asks_number(row: TypedRow) -> bool:
    return batch_numbers.is_asked(row.kind, sterile=row.sterile, criticality=row.matters)


@read_page("edit_item")
def result(request: HttpRequest, kit: str) -> HttpResponse:
    """How the kit stands, and what the first hour gives back."""
    of: Kit = find.kit(actor(request), kit)
    hour = first_kit.first_hour(of)
    out = hour.outdated
    version = of.list_version
    return show(
        request,
        "site/overview/first_day/result.html",
        kit=of,
        version=version,
        lacking=hazards_covered.lacking_needs(version),
        hour=hour,
        reasons=reason_texts.reasons(hour.judged.verdict.reasons),
        goes=first_day_texts.goes_out_of_date(
            out.by, out.units, out.unpriced, out.money, out.items
        ),
        unsigned=version if version.signed_on is None else None,
        may_sign=actor(request).may("sign_list"),
        may_take=is_offered(request, "check_out", of.room_id),
        next_name=first_kit.free_kit_name(of.name),
        caution=CAUTION,
    )
