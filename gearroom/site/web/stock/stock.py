"""Stock: one item batch by batch, and the time axis of
expiry. All that is out of date in a room, disposed of in one act, each item in its own bin; and
what nobody knows the date of, as one list: read the pack and type its date, or take it out."""

import re
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import (
    FOREIGN,
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    here,
    is_offered,
    read_field,
    read_page,
    room_here,
    show,
    today_here,
)
from gearroom.site.web.page.words import DISPOSALS, ITEM_KINDS
from gearroom.site.web.stock import item_use
from gearroom.site.web.stock.rotation import editions
from gearroom.site.web.stock.stock_list import rooms_own_first
from kits.models import Disposal, Item, PlaceKind, Recall
from kits.rules.ledger.facts import Kind
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.stock import horizon
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.orders import on_order
from kits.services.overview import kits_overview
from kits.services.stock import disposing, moving, receiving, reclassifying, views
from kits.services.stock.disposing import Outgoing
from kits.services.stock.order_levels import stock_levels
from kits.services.stock.tables import stock_table
from kits.services.stock.views import APART, KITS, SHELVES, HeldBatch
from kits.services.text.order_texts import overdue
from kits.services.text.wording import good_until

_LOOKS_AHEAD_DAYS = 365
_MOST_BATCHES = 200
_HEIGHT, _STEP, _BAR = 160, 32, 25
"""Of the picture, in pixels: how high its columns are, from column to column, and how wide a bar
is. The longest axis just fits a desk's page."""


FAULTS: dict[str, Promise] = {
    ReasonCode.RECALLED: _lazy("Recalled"),
    ReasonCode.WITHHELD: _lazy("On hold"),
    ReasonCode.EXPIRED: _lazy("Out of date"),
    ReasonCode.OPENED_TOO_LONG: _lazy("Open too long"),
    ReasonCode.DATE_NOT_KNOWN: _lazy("Expiry date not known"),
    ReasonCode.CHECK_FAILED: _lazy("Failed its check"),
    ReasonCode.CHECK_NOT_ANSWERED: _lazy("Not checked yet"),
    ReasonCode.CHECK_DUE: _lazy("Check due"),
}
"""Why units are not usable."""
_PLACES: dict[str, Promise] = {
    SHELVES: _lazy("On shelves"),
    KITS: _lazy("In kits"),
    APART: _lazy("Set aside"),
}


def with_faults(rows: Sequence[HeldBatch]) -> list[dict[str, Any]]:
    """Rows for a page, with the word for what is wrong with them."""
    return [{"held": row, "fault": FAULTS[row.fault] if row.fault else ""} for row in rows]


@read_page()
def item(request: HttpRequest, item: int) -> HttpResponse:
    """One item: its batches by shelf, where it is in kits, and what happened to it."""
    return _item_page(request, item)


def _item_page(request: HttpRequest, item: int, problem: Problem | None = None) -> HttpResponse:
    who, of = actor(request), find.item(item)
    rows = views.held_batches(who, item=of)
    stocked = stock_table.items_in_stock(who, rooms_own_first(request), item=of)

    def rows_in(where: str) -> list[dict[str, Any]]:
        return with_faults([row for row in rows if row.where == where])

    return show(
        request,
        "site/stock/item/item.html",
        problem=problem,
        item=of,
        stocked=stocked[0] if stocked else None,
        to_come=_to_come(request, of),
        levels=_levels(request, of),
        on_shelves=rows_in(SHELVES),
        apart=rows_in(APART),
        in_kits=rows_in(KITS),
        editions=editions(who, find.kits_of(who).active(), of.pk)
        if of.kind == Kind.DOCUMENT
        else (),
        recalls=Recall.objects.open().filter(item=of),
        packs=of.pack_codes.all(),
        picture=_picture(today_here(request), rows, by_kind=False)
        if any(row.good_until for row in rows)
        else None,
        may_receive=who.may("receive"),
        may_edit=who.may("edit_item"),
        may_change_lists=who.may("edit_list"),
        way=DISPOSALS[of.disposal],
        use=item_use.facts(who, of, today_here(request)),
        movements=views.movements(who, of) if who.may("read_history") else None,
    )


def _to_come(request: HttpRequest, of: Item) -> list[dict[str, Any]]:
    """What is on order of an item for the rooms of whoever asks, with what to say of it late."""
    return [
        {
            "line": line,
            "late": overdue(ordered_on=line.ordered_on, expected_on=line.expected_on)
            if line.late
            else "",
        }
        for line in on_order.open_lines(rooms_own_first(request), item=of)
    ]


def _levels(request: HttpRequest, of: Item) -> list[dict[str, Any]]:
    """The rooms whose order level whoever asks may set, with what was set for them."""
    rooms = [room for room in rooms_own_first(request) if is_offered(request, "receive", room.pk)]
    known = stock_levels.levels_of_rooms([room.pk for room in rooms])
    return [{"room": room, "units": known.get((room.pk, of.pk))} for room in rooms]


@form_view("receive", "thing", refused=_item_page)
def level(act: Act, request: HttpRequest, item: int) -> Done:
    """Set at how many units of an item a room orders; empty: as it is worked out, or for all."""
    room, of = find.room(act.actor, request.POST.get("room", "")), find.item(item)
    field = WholeNumber(required=False, label=_("Order level"))
    units = read_field(field, request.POST, "level")
    stock_levels.set_level(act, room, of, units)
    facts = {"room": room.name, "thing": of.name, "n": units}
    if units is None:
        sentence = _("The order level of %(thing)s in %(room)s is no longer set by hand.")
    else:
        sentence = _("The order level of %(thing)s in %(room)s is %(n)d.")
    return Done(sentence % facts)


@read_page()
def expiry(request: HttpRequest) -> HttpResponse:
    """What goes out of date when: a picture over the months, and tables that say the same."""
    who = actor(request)
    where = request.GET.get("where", "")
    kinds = {SHELVES: [PlaceKind.SHELF], KITS: [PlaceKind.SECTION]}.get(where, ())
    rows = views.held_batches(who, kinds=kinds)
    today = today_here(request)
    through = today + timedelta(days=_LOOKS_AHEAD_DAYS)
    soonest = views.expiring_through(rows, through)
    return show(
        request,
        "site/stock/expiry.html",
        where=where if kinds else "",
        wheres={"": _("Everywhere"), SHELVES: _PLACES[SHELVES], KITS: _PLACES[KITS]},
        picture=_picture(today, rows, by_kind=True) if rows else None,
        today=today,
        through=through,
        soonest=soonest[:_MOST_BATCHES],
        more=len(soonest) > _MOST_BATCHES,
        may_dispose=who.may("dispose"),
    )


def _picture(today: date, rows: Sequence[HeldBatch], *, by_kind: bool) -> dict[str, Any]:
    """The axis with its bars laid out, and what its groups are called."""
    words = ITEM_KINDS if by_kind else _PLACES
    dated = views.dated(rows, by_kind=by_kind)
    present = {row.group for row in dated}
    groups = [name for name in words if name in present]
    axis = horizon.axis(dated, groups, today=today, months=horizon.months_for(dated, today))
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


_ORDER = tuple(Disposal)
_OUTGOING = re.compile(r"([0-9]{1,9}):([0-9]{1,9}):([0-9]{1,9})")
"""A row of the page that was ticked, as `PLACE:LOT:UNITS`."""


def _out_of_date_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    room = room_here(request)
    rows = disposing.out_of_date(room)
    taught: list[Outgoing] = []
    if kits_overview.has_training_kits(room) and actor(request).may("move", room.pk):
        taught = [row for row in rows if row.for_class]
        rows = [row for row in rows if not row.for_class]

    def order(row: Outgoing) -> int:
        return _ORDER.index(row.disposal or Disposal.BIN)

    by_bin = [
        (DISPOSALS[_ORDER[n]], list(group))
        for n, group in groupby(sorted(rows, key=order), key=order)
    ]
    return show(
        request,
        "site/stock/out_of_date.html",
        problem=problem,
        bins=by_bin,
        taught=taught,
        room=room,
        units=sum(row.units for row in rows),
    )


@form_view("dispose", "out-of-date", page_of=_out_of_date_page)
def out_of_date(act: Act, request: HttpRequest) -> Done:
    """What is out of date on the shelves and in quarantine of the room that this device stands in,
    by the bin that it goes into; a form disposes of what is ticked, or keeps it for training."""
    rows = [_outgoing(act, text) for text in request.POST.getlist("out")]
    if request.POST.get("training"):
        kept = disposing.to_training(act, room_here(request), rows)
        return Done(_("The selected items are now in the training box."), kept.pk)
    entry = disposing.dispose_all(act, room_here(request), rows)
    units = sum(row.units for row in rows)
    return Done(
        ngettext("%(n)d unit has been disposed of.", "%(n)d units have been disposed of.", units)
        % {"n": units},
        entry.pk,
    )


def _outgoing(act: Act, text: str) -> Outgoing:
    if (row := _OUTGOING.fullmatch(text)) is None:
        raise Invalid(str(FOREIGN))
    place, lot, units = map(int, row.groups())
    return Outgoing(find.place(act.actor, place), find.lot(lot), units)


def _undated_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    if problem is not None and here(request) is None:
        raise problem
    room, who = room_here(request), actor(request)
    return show(
        request,
        "site/stock/undated.html",
        problem=problem,
        room=room,
        rows=reclassifying.to_check(room, who),
        may_count=who.may("count", room.pk),
    )


class DateForm(PageForm):
    """The date of units in a place, as it is printed on them."""

    place = ShortText()
    lot = ShortText()
    units = WholeNumber(least=1, label=_lazy("Units"))
    printed = ShortText(40)
    number = ShortText(80)


@form_view("look", "undated", page_of=_undated_page)
def to_check(act: Act, request: HttpRequest) -> Done:
    """What is in the kits and on the shelves of this room without a date that it should have."""
    values = DateForm.read(request.POST)
    place, lot = find.place(act.actor, values["place"]), find.lot(values["lot"])
    today = receiving.today_in(moving.room_of(place, place.kit))
    expiry = lots.printed_expiry(values["printed"], today=today)
    entry = reclassifying.record_date(
        act,
        place=place,
        lot=lot,
        units=values["units"],
        expiry=expiry,
        number=values["number"],
    )
    sentence = _("Expiry date recorded for %(units)d × %(thing)s.") % {
        "units": values["units"],
        "thing": lot.item.name,
    }
    return Done(f"{sentence} {good_until(expiry)}".strip(), entry.pk)
