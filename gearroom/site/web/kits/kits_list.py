"""The kits of one's rooms, as a table."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.site.web.page import actor, company, id_of, read_page, rooms_of, show, tables
from kits.rules.ledger.facts import Word
from kits.services.overview import kits_table
from kits.services.overview.kits_table import Filter
from kits.services.text import verdict_texts

_MOST_KITS = 100
_OUT_OR_IN = {"out": True, "in": False}


@read_page()
def list_kits(request: HttpRequest) -> HttpResponse:
    """The kits of one's rooms: where each is, what it goes on next, how it stands."""
    who, wanted, columns = actor(request), _filter(request), _columns()
    order = tables.order_of(request, columns)
    table = kits_table.ordered(who, wanted, order.by, down=order.down)
    page = tables.page_of(request, table.ids, _MOST_KITS)
    choices = kits_table.choices(who)
    return show(
        request,
        "site/kits/kits.html",
        wanted=wanted,
        wanted_out=request.GET.get("out", "") if wanted.out is not None else "",
        places=[
            ("in", _("here") if company(request).alone else _("in a gear room")),
            ("out", _("out with somebody")),
        ],
        narrowed=wanted != kits_table.EVERYTHING,
        more_filters=_is_narrowed(wanted),
        lists=choices.lists,
        sizes=choices.people,
        words=[(word.value, verdict_texts.word(word)) for word in Word],
        columns=columns,
        order=order,
        headings=tables.headings(request, columns, order),
        page=page,
        kits=kits_table.rows(page.rows, table.judged),
        may_add=who.may("edit_kit"),
        may_tick=who.may("print_labels") or who.may("reserve"),
        **tables.ticks(request),
    )


def _filter(request: HttpRequest) -> Filter:
    sent = request.GET
    words = {word.value: word for word in Word}
    return Filter(
        search=sent.get("search", "").strip()[:40],
        room=next((room for room in rooms_of(request) if room.slug == sent.get("room")), None),
        packing_list=id_of(sent.get("list", "")),
        people=id_of(sent.get("people", "")),
        out=_OUT_OR_IN.get(sent.get("out", "")),
        word=words.get(sent.get("status", "")),
    )


def _is_narrowed(wanted: Filter) -> bool:
    """Whether by more than a name."""
    return any(
        each is not None
        for each in (wanted.room, wanted.packing_list, wanted.people, wanted.out, wanted.word)
    )


def _columns() -> list[tables.Column]:
    labels: dict[str, Any] = {
        "name": _("Kit"),
        "list": _("Kit list"),
        "size": _("Made for"),
        "place": _("Where"),
        "trip": _("Next trip"),
        "expiry": _("First expiry"),
        "verdict": _("Status"),
    }
    return [tables.Column(key, label) for key, label in labels.items()]
