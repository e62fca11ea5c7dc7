"""The batches of a room as a table; and what is done with several of them in one act: moved, sent
to another room, thrown out, labelled."""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.models import Room
from gearroom.site.web.page import (
    FOREIGN,
    Done,
    PageForm,
    ShortText,
    actor,
    form_view,
    read_page,
    room_here,
    rooms_of,
    show,
    tables,
)
from gearroom.site.web.page.words import DISPOSALS
from gearroom.site.web.stock.stock import with_faults
from kits.services.labelling import labelling
from kits.services.lookup import find
from kits.services.stock import disposing, moving, views
from kits.services.stock.disposing import Outgoing
from kits.services.stock.moving import Portion
from kits.services.stock.tables import batches_table
from kits.services.stock.tables.batches_table import Filter

_MOST_BATCHES = 200
_TICKED = re.compile(r"([0-9]{1,9}):([0-9]{1,9}):([0-9]{1,9})")
"""A ticked row, as `PLACE:LOT:UNITS`."""


@read_page()
def all_batches(request: HttpRequest) -> HttpResponse:
    """What the shelves and the quarantine of a room hold, batch by batch, to tick."""
    who, room, wanted, columns = actor(request), _room(request), _filter(request), _columns()
    order = tables.order_of(request, columns)
    rows = batches_table.rows(who, room, wanted, order.by, down=order.down)
    page = tables.page_of(request, rows, _MOST_BATCHES)
    may_tick = any(who.may(each, room.pk) for each in ("move", "dispose", "print_labels"))
    return show(
        request,
        "site/stock/batches/batches.html",
        room=room,
        wanted=wanted,
        narrowed=wanted != batches_table.EVERYTHING,
        more_filters=wanted.before is not None or wanted.faulty,
        columns=columns,
        order=order,
        headings=tables.headings(request, columns, order),
        page=page,
        rows=with_faults(page.rows),
        may_tick=may_tick,
        **tables.ticks(request),
    )


def _room(request: HttpRequest) -> Room:
    slug = request.POST.get("room") or request.GET.get("room", "")
    return next((room for room in rooms_of(request) if room.slug == slug), room_here(request))


def _filter(request: HttpRequest) -> Filter:
    before = None
    with suppress(ValueError):
        before = date.fromisoformat(request.GET.get("before", ""))
    search = request.GET.get("search", "").strip()[:40]
    return Filter(search, before, faulty=bool(request.GET.get("faulty")))


def _columns() -> list[tables.Column]:
    return [
        tables.Column("name", _("Item")),
        tables.Column("batch", _("Batch")),
        tables.Column("expiry", _("Expiry date")),
        tables.Column("units", _("Units"), number=True),
        tables.Column("place", _("Where")),
    ]


# ------------------------------------------------------------------------------- what was ticked
def _chosen_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who, room = actor(request), _room(request)
    ticked = (request.POST or request.GET).getlist("on")
    pairs = [(int(row[1]), int(row[2])) for text in ticked if (row := _TICKED.fullmatch(text))]
    rows = batches_table.chosen(who, room, pairs)
    return show(
        request,
        "site/stock/batches/chosen.html",
        problem=problem,
        room=room,
        rows=[{**row, "way": _way(row["held"])} for row in with_faults(rows)],
        gone=len(set(pairs)) - len(rows),
        units=sum(row.units for row in rows),
        good=any(row.fault is None for row in rows),
        shelves=[each.place for each in views.shelves(room)],
        other_rooms=[each for each in rooms_of(request) if each != room],
        may={name: who.may(name, room.pk) for name in ("move", "dispose", "print_labels")},
    )


def _way(row: views.HeldBatch) -> str:
    return str(DISPOSALS[disposing.disposal_of(row.lot.item)])


class ChosenForm(PageForm):
    """What is done with all that was ticked."""

    do = ShortText(10)
    shelf = ShortText(40)
    to_room = ShortText(80)
    reason = ShortText()


@form_view("look", page_of=_chosen_page)
def chosen(act: Act, request: HttpRequest) -> Done:
    """Several batches of a room, and one form for each thing that can be done with all of them."""
    values, room = ChosenForm.read(request.POST), _room(request)
    portions = [_portion(act, text) for text in dict.fromkeys(request.POST.getlist("on"))]
    moving.refuse_elsewhere(room, portions)
    if (does := _DOES.get(values["do"])) is None:
        raise Invalid(_("Choose an action."))
    done = does(replace(act, reason=values["reason"]), room, portions, values)
    return done if done.to else replace(done, to=f"{reverse('batches')}?room={room.slug}")


Values = Mapping[str, str]


def _move(act: Act, room: Room, portions: list[Portion], values: Values) -> Done:
    shelf = find.shelf(act.actor, values["shelf"])
    entry = moving.move_all(act, room, portions, shelf)
    says = ngettext(
        "%(n)d unit moved to %(place)s.", "%(n)d units moved to %(place)s.", _units(portions)
    )
    return Done(says % {"n": _units(portions), "place": shelf.name}, entry.pk)


def _send(act: Act, _room: Room, portions: list[Portion], values: Values) -> Done:
    to = find.any_room(values["to_room"])
    entry = moving.send_all(act, portions, to)
    says = ngettext(
        "%(n)d unit sent to %(place)s. It belongs there once its arrival is recorded.",
        "%(n)d units sent to %(place)s. They belong there once their arrival is recorded.",
        _units(portions),
    )
    return Done(says % {"n": _units(portions), "place": to.name}, entry.pk)


def _dispose(act: Act, room: Room, portions: list[Portion], _values: Values) -> Done:
    rows = [Outgoing(each.place, each.lot, each.units) for each in portions]
    entry = disposing.dispose_all(act, room, rows)
    says = ngettext(
        "%(n)d unit has been disposed of.", "%(n)d units have been disposed of.", _units(portions)
    )
    return Done(says % {"n": _units(portions)}, entry.pk)


def _labels(act: Act, room: Room, portions: list[Portion], _values: Values) -> Done:
    lots = {each.lot.pk: each.lot for each in portions}
    made = labelling.labels_for(act, list(lots.values()), room)
    codes = ".".join(label.code for label in made)
    return Done(_("The labels are ready to print."), to=f"{reverse('print-labels')}?codes={codes}")


_DOES = {"move": _move, "send": _send, "dispose": _dispose, "labels": _labels}


def _units(portions: list[Portion]) -> int:
    return sum(each.units for each in portions)


def _portion(act: Act, text: str) -> Portion:
    if (row := _TICKED.fullmatch(text)) is None:
        raise Invalid(str(FOREIGN))
    place, lot, units = map(int, row.groups())
    return Portion(find.place(act.actor, place), find.lot(lot), units)
