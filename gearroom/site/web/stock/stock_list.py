"""Stock as a table: each item with what every room has of it and how long that lasts."""

from contextlib import suppress
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.core.models import Room
from gearroom.site.web.page import actor, company, here, read_page, rooms_of, show, tables
from gearroom.site.web.page.words import ITEM_KINDS
from kits.models import PlaceKind, Recall
from kits.services.stock import reclassifying, views
from kits.services.stock.tables import stock_table
from kits.services.stock.tables.stock_table import Filter, ItemStock
from kits.services.text import stock_texts
from kits.services.text.planning import planning_texts

_MOST_ITEMS = 200


@read_page()
def all_items(request: HttpRequest) -> HttpResponse:
    """Every item with what each room has of it, what is running low first."""
    who, room, own = actor(request), here(request), rooms_own_first(request)
    wanted, rooms = _filter(request), _rooms(request, own)
    columns = _columns(rooms, alone=company(request).alone)
    order = tables.order_of(request, columns)
    items = stock_table.sorted_by(
        stock_table.items_in_stock(who, rooms, wanted), order.by, down=order.down
    )
    page = tables.page_of(request, items, _MOST_ITEMS)
    on_the_way = views.held_batches(who, kinds=[PlaceKind.TRANSIT])
    return show(
        request,
        "site/stock/stock.html",
        wanted=wanted,
        narrowed=wanted != stock_table.EVERYTHING or rooms != own,
        low_alone=wanted == Filter(low=True),
        more_filters=_more_filters(wanted) + (rooms != own),
        one_room=rooms[0].slug if rooms != own else "",
        groups=ITEM_KINDS,
        suppliers=stock_table.suppliers(own),
        columns=columns,
        order=order,
        headings=tables.headings(request, columns, order),
        page=page,
        things=[_row(each) for each in page.rows],
        how_long=stock_texts.HOW_LONG,
        caution=planning_texts.CAUTION,
        on_the_way=on_the_way,
        shelves=views.shelves_of(who) if on_the_way else [],
        recalls=Recall.objects.open().count(),
        undated=len(reclassifying.to_check(room, who)) if room else 0,
        may={name: who.may(name) for name in ("receive", "count", "dispose", "move")},
    )


def rooms_own_first(request: HttpRequest) -> list[Room]:
    """The rooms of whoever asks, the one that their device stands in first."""
    own = here(request)
    return sorted(rooms_of(request), key=lambda room: room != own)


def _filter(request: HttpRequest) -> Filter:
    sent, before = request.GET, None
    with suppress(ValueError):
        before = date.fromisoformat(sent.get("before", ""))
    kind = sent.get("group", "")
    return Filter(
        search=sent.get("search", "").strip()[:40],
        kind=kind if kind in ITEM_KINDS else "",
        low=bool(sent.get("low")),
        unused=bool(sent.get("unused")),
        before=before,
        supplier=sent.get("supplier", "").strip()[:120],
    )


def _more_filters(wanted: Filter) -> int:
    return sum(map(bool, (wanted.kind, wanted.unused, wanted.before, wanted.supplier)))


def _rooms(request: HttpRequest, own: list[Room]) -> list[Room]:
    """The one room asked for; all, where none or another is."""
    return [room for room in own if room.slug == request.GET.get("room")] or own


def _columns(rooms: list[Room], *, alone: bool) -> list[tables.Column]:
    return [
        tables.Column("name", _("Item")),
        tables.Column("group", _("Group")),
        tables.Column("expiry", _("Next expiry")),
        *(
            tables.Column(
                stock_table.AT + room.slug, _("On shelves") if alone else room.name, number=True
            )
            for room in rooms
        ),
        tables.Column("kits", _("In kits"), number=True),
        tables.Column("lasts", _("How long it lasts")),
    ]


def _row(of: ItemStock) -> dict[str, Any]:
    return {
        "item": of.item,
        "low": of.low,
        "group": ITEM_KINDS[of.item.kind],
        "next_expiry": of.next_expiry,
        "nearness": of.nearness,
        "rooms": of.rooms,
        "in_kits": of.in_kits,
        "bar": of.lasts.bar,
        "lasts": stock_texts.lasts(of.lasts),
        "beside": stock_texts.beside(of.lasts, used=of.used),
    }
