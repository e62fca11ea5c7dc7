"""Stock: things with what each room has of them, one thing batch by batch, and the time axis of
expiry."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core import clock
from gearroom.core.models import Room
from gearroom.site.web.page.shell import actor, here, page, rooms_of, show
from gearroom.site.web.page.words import DISPOSALS
from kits.models import PlaceKind, Recall
from kits.rules.ledger.facts import Kind
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.stock import horizon
from kits.services.lookup import find
from kits.services.stock import undated, views
from kits.services.stock.views import APART, KITS, SHELVES, HeldBatch

_MOST_THINGS = 300
_LOOKS_AHEAD_DAYS = 365
_MOST_BATCHES = 200
_HEIGHT, _STEP, _BAR = 160, 32, 25
"""Of the picture, in pixels: how high its columns are, from column to column, and how wide a bar
is. The longest axis just fits a desk's page."""


def kind_words() -> dict[str, str]:
    """What each kind of thing is called."""
    return {
        Kind.CONSUMABLE: _("Consumables"),
        Kind.MEDICINE: _("Medicines"),
        Kind.INSTRUMENT: _("Instruments"),
        Kind.TOOL: _("Tools"),
        Kind.DOCUMENT: _("Documents"),
    }


def fault_words() -> dict[str, str]:
    """What each reason why units are not usable is called."""
    return {
        ReasonCode.RECALLED: _("Recalled"),
        ReasonCode.WITHHELD: _("On hold"),
        ReasonCode.EXPIRED: _("Out of date"),
        ReasonCode.OPENED_TOO_LONG: _("Open for too long"),
        ReasonCode.DATE_NOT_KNOWN: _("Date not known"),
        ReasonCode.CHECK_FAILED: _("Failed its check"),
        ReasonCode.CHECK_NOT_ANSWERED: _("Not checked yet"),
        ReasonCode.CHECK_DUE: _("Check is due"),
    }


def _where_words() -> dict[str, str]:
    return {SHELVES: _("On shelves"), KITS: _("In kits"), APART: _("Kept apart")}


def told(rows: Sequence[HeldBatch]) -> list[dict[str, Any]]:
    """Rows for a page, with the word for what is wrong with them."""
    words = fault_words()
    return [{"held": row, "fault": words[row.fault] if row.fault else ""} for row in rows]


@require_safe
@page()
def every(request: HttpRequest) -> HttpResponse:
    """Every thing with what each room has of it, what is running low first."""
    search = request.GET.get("search", "").strip()[:40]
    low = bool(request.GET.get("low"))
    who, rooms = actor(request), _rooms_own_first(request)
    found = views.items_in_stock(who, rooms, search=search, low=low)
    on_the_way = views.held_batches(who, kinds=[PlaceKind.TRANSIT])
    facts: dict[str, Any] = {
        "search": search,
        "low": low,
        "things": found[:_MOST_THINGS],
        "more": len(found) > _MOST_THINGS,
        "on_the_way": on_the_way,
        "shelves": views.shelves_of(who) if on_the_way else [],
        "recalls": Recall.objects.open().count(),
        "undated": len(undated.to_check(room, who)) if (room := here(request)) else 0,
        "may": {name: who.may(name) for name in ("receive", "count", "dispose", "move")},
    }
    return show(request, "site/stock/stock.html", facts)


@require_safe
@page()
def thing(request: HttpRequest, item: int) -> HttpResponse:
    """One thing: its batches by shelf, where it is in kits, and what happened to it."""
    who = actor(request)
    found = find.item(item)
    rows = views.held_batches(who, item=found)
    everything = views.items_in_stock(who, _rooms_own_first(request), search=found.name)
    facts: dict[str, Any] = {
        "item": found,
        "seen": next((each for each in everything if each.item == found), None),
        "on_shelves": told([row for row in rows if row.where == SHELVES]),
        "apart": told([row for row in rows if row.where == APART]),
        "in_kits": told([row for row in rows if row.where == KITS]),
        "recalls": Recall.objects.open().filter(item=found),
        "packs": found.pack_codes.all(),
        "picture": _picture(_today(request), rows, by_kind=False) if rows else None,
        "may_receive": who.may("receive"),
        "may_edit": who.may("edit_item"),
        "way": DISPOSALS[found.disposal],
    }
    if who.may("read_history"):
        facts["movements"] = views.movements(who, found)
    return show(request, "site/stock/item.html", facts)


@require_safe
@page()
def expiry(request: HttpRequest) -> HttpResponse:
    """What goes out of date when: a picture over the months, and tables that say the same."""
    who = actor(request)
    where = request.GET.get("where", "")
    kinds = {SHELVES: [PlaceKind.SHELF], KITS: [PlaceKind.SECTION]}.get(where, ())
    rows = views.held_batches(who, kinds=kinds)
    today = _today(request)
    through = today + timedelta(days=_LOOKS_AHEAD_DAYS)
    soonest = views.expiring_through(rows, through)
    facts = {
        "where": where if kinds else "",
        "wheres": {"": _("Everywhere"), SHELVES: _("On shelves"), KITS: _("In kits")},
        "picture": _picture(today, rows, by_kind=True) if rows else None,
        "today": today,
        "through": through,
        "soonest": soonest[:_MOST_BATCHES],
        "more": len(soonest) > _MOST_BATCHES,
        "may_dispose": who.may("dispose"),
    }
    return show(request, "site/stock/expiry.html", facts)


def _rooms_own_first(request: HttpRequest) -> list[Room]:
    own = here(request)
    return sorted(rooms_of(request), key=lambda room: room != own)


def _today(request: HttpRequest) -> date:
    room = here(request)
    return clock.today(room.time_zone if room else "UTC")


def _picture(today: date, rows: Sequence[HeldBatch], *, by_kind: bool) -> dict[str, Any]:
    """The axis with its bars laid out, and what its groups are called."""
    words = kind_words() if by_kind else _where_words()
    found = views.dated(rows, by_kind=by_kind)
    present = {row.group for row in found}
    groups = [name for name in words if name in present]
    axis = horizon.axis(found, groups, today=today, months=horizon.months_for(found, today))
    bars = horizon.bars(axis, height=_HEIGHT, step=_STEP, width=_BAR)
    order = list(words)  # a group has the same pattern whatever else is in the picture
    patterns = [order.index(name) for name in groups]
    columns = [
        {
            "first": column.first,
            "units": column.units,
            "total": column.total,
            "bars": [(bar, patterns[bar.group]) for bar in stack],
            "top": min((bar.y for bar in stack), default=_HEIGHT) - 4,
            "middle": number * _STEP + _STEP // 2,
        }
        for number, (column, stack) in enumerate(zip(axis.columns, bars, strict=True))
    ]
    return {
        "groups": list(zip((words[name] for name in groups), patterns, strict=True)),
        "columns": columns,
        "undated": axis.undated,
        "width": _STEP * len(columns),
        "height": _HEIGHT,
    }
