"""Filled kits that might be bought: typed or pasted once, and compared with each other and with
building from parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.models import Room
from gearroom.site.web.lists.pasting import LEAVE_OUT, Row, rows_of
from gearroom.site.web.page import (
    Done,
    Money,
    PageForm,
    ShortText,
    WholeNumber,
    acted,
    actor,
    form_view,
    id_of,
    page,
    read_field,
    read_page,
    room_here,
    show,
)
from kits.models import FilledKit, Item
from kits.rules.buying import buy_or_build
from kits.rules.buying.buy_or_build import Way
from kits.services.buying import bought_kits, filled_kits
from kits.services.buying.bought_kits import Content
from kits.services.buying.filled_kits import Choice
from kits.services.ledger import lots
from kits.services.lists import signatures
from kits.services.lookup import find
from kits.services.stock import offers, receiving
from kits.services.text import buying_texts
from labels.rules.codes.typed import TextKind as TextKind, resolve
from labels.services.scan import pack_scans

_KITS = WholeNumber(least=1, most=buy_or_build.MOST_KITS, label=gettext_lazy("How many kits"))


# ----------------------------------------------------------------------------------- side by side
@dataclass(frozen=True)
class ComparedRow:
    """A way to come by the kits: `filled` (None: all from parts), with what it comes to in
    sentences and what is likely to become of each line."""

    way: Way
    currency: str
    filled: FilledKit | None = None
    sentences: Sequence[str] = ()
    parts: Sequence[tuple[Any, str, str]] = ()


@read_page("strip")
def compare(request: HttpRequest) -> HttpResponse:
    """The filled kits of the room beside building from parts, for so many kits of a list."""
    who, room = actor(request), room_here(request)
    who.require("strip", room.pk)
    versions = list(signatures.in_use())
    filled = list(filled_kits.in_question(who, room))
    wanted = [each for each in versions if each.pk == id_of(request.GET.get("list", ""))]
    version = next(iter(wanted or versions), None)
    problem, choices, kits = None, list[Choice](), request.GET.get("kits", "1")
    if version is not None:
        try:
            count = read_field(_KITS, {"kits": kits}, "kits")
            choices = list(filled_kits.choice(who, room, version, filled, count).values())
        except Problem as wrong:
            problem = wrong
    return show(
        request,
        "site/restocking/bought/compare.html",
        problem=problem,
        status=200,
        room=room,
        versions=versions,
        version=version,
        kits=kits,
        most=buy_or_build.MOST_KITS,
        filled=filled,
        choices=[(_rows(each), _unpriced(each)) for each in choices],
        time_taken=buying_texts.time_taken(choices[0].compared.minutes) if choices else "",
    )


def _rows(choice: Choice) -> list[ComparedRow]:
    compared, rows = choice.compared, []
    currency = choice.filled[0].currency
    built = next(way for way in compared.ways if way.bought is None)
    for way in compared.ways:
        if way.bought is None:
            rows.append(ComparedRow(way, currency))
            continue
        n = next(n for n, each in enumerate(compared.filled) if each.bought is way.bought)
        of = compared.filled[n]
        parts_win = buying_texts.parts_win(
            of.parts_win_from,
            priced=not built.parts.unpriced,
            most=buy_or_build.MOST_KITS,
        )
        sentences = (
            buying_texts.comes_to(way.bought),
            buying_texts.price_each(way, of.in_parts),
            parts_win,
        )
        parts = [
            (part, str(buying_texts.FATES[part.fate]), buying_texts.why(part))
            for part in way.bought.parts
        ]
        rows.append(
            ComparedRow(way, currency, choice.filled[n], list(filter(None, sentences)), parts)
        )
    return rows


def _unpriced(choice: Choice) -> list[str]:
    """The names of items that no offer has in its currency, so that sums are too low."""
    pks = {pk for way in choice.compared.ways for pk in way.parts.unpriced}
    return list(Item.objects.filter(pk__in=pks).order_by("name").values_list("name", flat=True))


# ------------------------------------------------------------------------------------ a new one
class FilledKitForm(PageForm):
    """A filled kit's name, price and seller."""

    name = ShortText(filled_kits.MOST_NAME)
    price = Money(label=gettext_lazy("Price of one kit, tax included"))
    currency = ShortText(12)
    supplier = ShortText(120)


@page("strip")
def add(request: HttpRequest) -> HttpResponse:
    """Paste what is in a filled kit; see which items these are; keep it. Only the last is an
    act. One that was bought already (`then=strip`, or `for` a kit) is broken down next."""
    if "keep" not in request.POST:
        return _add_page(request)
    try:
        return acted(request, lambda act: _add(act, request), to=reverse("bought-kits"))
    except Problem as problem:
        return _add_page(request, problem)


@dataclass(frozen=True)
class ContentRow:
    """A pasted line with what its inputs hold, and its expiry date as typed."""

    row: Row
    expiry: str


def _add_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    room, sent = room_here(request), request.POST.copy()
    actor(request).require("strip", room.pk)
    rows = list[ContentRow]()
    if "text" in sent:
        try:
            sent = _with_codes_read(sent, room)
            rows = _content_rows(sent)
        except Invalid as wrong:
            problem = problem or wrong
    return show(
        request,
        "site/restocking/bought/add.html",
        problem=problem,
        values=sent,
        asked=request.POST or request.GET,
        currency=offers.usual_currency(),
        text=sent.get("text", ""),
        rows=rows,
        unknown=sum(not each.row.named for each in rows),
        things=Item.objects.active().values_list("name", flat=True) if rows else (),
    )


def _with_codes_read(sent: QueryDict, room: Room) -> QueryDict:
    """What was sent, with each line that is a maker's code in words: how many of which item, and
    its expiry date."""
    read, today = sent.copy(), receiving.today_in(room)
    lines = [line for line in sent.get("text", "").splitlines() if line.strip()]
    for at, line in enumerate(lines[: bought_kits.MOST_LINES]):
        typed = resolve(line.strip(), today=today)
        if typed.kind != TextKind.MAKER or typed.maker is None:
            continue
        for pack in pack_scans.known_packs(typed.maker.candidates)[:1]:
            if pack.item:
                lines[at] = f"{pack.units or 1} x {pack.item_name}"
                read[f"expiry-{at}"] = pack.expiry.isoformat() if pack.expiry else ""
    read["text"] = "\n".join(lines)
    return read


def _content_rows(sent: QueryDict) -> list[ContentRow]:
    return [ContentRow(row, sent.get(f"expiry-{row.at}", "")) for row in rows_of(sent)]


def _add(act: Act, request: HttpRequest) -> Done:
    room, values = room_here(request), FilledKitForm.read(request.POST)
    sent = _with_codes_read(request.POST, room)
    values["currency"] = values["currency"].upper()
    today = receiving.today_in(room)
    contents = [_content(each, today) for each in _content_rows(sent)]
    into = find.kit(act.actor, request.POST["for"]) if request.POST.get("for") else None
    filled = filled_kits.add(act, room, contents=contents, **values)
    to = ""
    if into is not None:
        to = reverse("strip-filled", args=[into.name, filled.pk])
    elif request.POST.get("then") == "strip":
        to = reverse("buy-kit", args=[filled.pk])
    return Done(_("%(kit)s has been added.") % {"kit": filled.name}, to=to)


def _content(of: ContentRow, today: date) -> Content:
    row = of.row
    label = _("%(thing)s, how many") % {"thing": row.of.line.name}
    return Content(
        row.of.line.name,
        find.item(row.named) if row.named and row.named != LEAVE_OUT else None,
        read_field(WholeNumber(least=1, label=label), {"": row.units}, ""),
        lots.printed_expiry(of.expiry, today=today, field=f"expiry-{row.at}"),
    )


@form_view("strip")
def close(act: Act, request: HttpRequest, id: int) -> Done:
    """No longer think of buying a filled kit. Only forms are taken."""
    filled = filled_kits.close(act, filled_kits.filled_kit(act.actor, id))
    says = _("%(kit)s is no longer compared.") % {"kit": filled.name}
    return Done(says, to=reverse("bought-kits"))
