"""One batch in one place, and what can be done with it there: moved, sent to another room, opened,
thrown out; and what another room sent, arriving."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.core.models import Room
from gearroom.site.web.page.fields import whole, words
from gearroom.site.web.page.shell import Done, acted, actor, page, rooms_of, show
from gearroom.site.web.page.words import DISPOSALS
from gearroom.site.web.stock.stock import told
from kits.models import Disposal, PlaceKind
from kits.rules.ledger.facts import Kind
from kits.rules.stock import disposal as ways
from kits.services.ledger import lots
from kits.services.ledger.book import room_place
from kits.services.lookup import find
from kits.services.stock import corrections, disposing, instruments, opening, receiving, views
from kits.services.stock.views import HeldBatch

_OF_UNITS = ("move", "send", "dispose", "open")
_OF_ALL = ("correct", "check")
"""What is done with units in this place, and what with the batch wherever it is."""


@page()
def at(request: HttpRequest, place: int, lot: int) -> HttpResponse:
    """A batch in a place: what it is, and one form for each thing that can be done with it."""
    if request.method == "POST":
        try:
            return _acted(request, place, lot)
        except Problem as problem:
            if problem.status in (403, 404):
                raise
            return _shown(request, place, lot, problem)
    return _shown(request, place, lot)


def _shown(
    request: HttpRequest, place: int, lot: int, problem: Problem | None = None
) -> HttpResponse:
    who = actor(request)
    row = views.held_batch(who, place, lot)
    home = row.place.kit.room if row.place.kit else row.place.room
    assert home is not None  # inner places are a room's or a kit's
    own = ways.allowed(Kind(row.lot.item.kind), row.lot.item.disposal)
    on_shelf = row.place.kind == PlaceKind.SHELF
    facts: dict[str, Any] = {
        "row": told([row])[0],
        "room": home,
        "problem": problem,
        "units": request.POST.get("units") or row.units,
        "shelves": [each.place for each in views.shelves(home) if each.place != row.place],
        "apart": [
            kind for kind in (PlaceKind.QUARANTINE, PlaceKind.TRAINING) if kind != row.place.kind
        ],
        "rooms": [room for room in rooms_of(request) if room != home] if on_shelf else [],
        "ways": [(way, DISPOSALS[Disposal(way)]) for way in own],
        "may_correct": who.may("correct_lot"),
        "may_check": row.lot.item.kind == Kind.INSTRUMENT and who.may("check_instrument", home.pk),
        "may_open": row.lot.item.opened_life_days is not None
        and row.lot.opened_on is None
        and who.may("open", home.pk),
        "may_move": who.may("move", home.pk),
        "may_dispose": who.may("dispose", home.pk),
    }
    return show(request, "site/stock/lot_at.html", facts, status=problem.status if problem else 200)


def _acted(request: HttpRequest, place: int, lot: int) -> HttpResponse:
    what = next((name for name in (*_OF_UNITS, *_OF_ALL) if name in request.POST), None)
    if what is None:
        raise Invalid(_("Choose what to do with it."))
    row = views.held_batch(actor(request), place, lot)
    if what in _OF_ALL:
        return _batch_acted(request, row, what)
    units = whole(request.POST, "units", least=1, what=_("Units"))

    def perform(act: Act) -> Done:
        return _PERFORM[what](act, row, units, request.POST[what])

    def with_reason(act: Act) -> Done:
        reason = words(request.POST, "reason")
        return perform(replace(act, reason=reason))

    return acted(request, with_reason, to=reverse("thing", args=[row.lot.item_id]))


def _batch_acted(request: HttpRequest, row: HeldBatch, what: str) -> HttpResponse:
    said = request.POST

    def corrected(act: Act) -> Done:
        room = row.place.kit.room if row.place.kit else row.place.room
        assert room is not None  # inner places are a room's or a kit's
        printed = words(said, "printed", 40)
        done = corrections.correct(
            replace(act, reason=words(said, "reason")),
            row.lot,
            number=words(said, "number", 80),
            expiry=lots.printed_expiry(printed, today=receiving.today_in(room)),
        )
        says = _("%(thing)s is corrected, and every kit that holds it is judged again.")
        return Done(says % {"thing": row.lot.item.name}, done.entry.pk)

    def checked(act: Act) -> Done:
        passed = said["check"] == "passed"
        done = instruments.check(act, row.lot, passed=passed, answer=words(said, "answer", 200))
        says = _("%(thing)s passed its check.") if passed else _("%(thing)s failed: on hold.")
        told = {"thing": f"{row.lot.item.name} {row.lot.serial}"}
        return Done(says % told, done.entry.pk)

    perform = {"correct": corrected, "check": checked}[what]
    return acted(request, perform, to=reverse("thing", args=[row.lot.item_id]))


def _moved(act: Act, row: HeldBatch, units: int, to: str) -> Done:
    if to in (PlaceKind.QUARANTINE, PlaceKind.TRAINING):
        room = row.place.kit.room if row.place.kit else row.place.room
        assert room is not None  # inner places are a room's or a kit's
        act.actor.require("move", room.pk)
        target = room_place(room, PlaceKind(to))
    else:
        target = find.shelf(act.actor, to)
    entry = receiving.move(act, lot=row.lot, units=units, source=row.place, target=target)
    return Done(
        _("%(units)d × %(thing)s moved to %(place)s.") % _names(row, units, place=target.name),
        entry.pk,
    )


def _sent(act: Act, row: HeldBatch, units: int, to: str) -> Done:
    room: Room = find.any_room(to)
    entry = receiving.send(act, lot=row.lot, units=units, source=row.place, room=room)
    says = _(
        "%(units)d × %(thing)s is on its way to %(place)s; it is theirs once they record that "
        "it arrived."
    )
    return Done(says % _names(row, units, place=room.name), entry.pk)


def _thrown_out(act: Act, row: HeldBatch, units: int, way: str) -> Done:
    try:
        disposal = Disposal(way)
    except ValueError:
        raise Invalid(_("Choose how it is disposed of."), field="dispose") from None
    entry = disposing.dispose(act, place=row.place, lot=row.lot, units=units, disposal=disposal)
    return Done(
        _("%(units)d × %(thing)s disposed of: %(place)s.")
        % _names(row, units, place=DISPOSALS[disposal]),
        entry.pk,
    )


def _opened(act: Act, row: HeldBatch, units: int, _said: str) -> Done:
    done = opening.open_pack(act, place=row.place, lot=row.lot, units=units)
    return Done(_("%(units)d × %(thing)s opened.") % _names(row, units), done.entry.pk)


_PERFORM = {"move": _moved, "send": _sent, "dispose": _thrown_out, "open": _opened}


def _names(row: HeldBatch, units: int, **more: object) -> dict[str, object]:
    return {"units": units, "thing": row.lot.item.name, **more}


@require_POST
@page("move")
def arrive(request: HttpRequest) -> HttpResponse:
    """What another room sent is here, on a shelf."""

    def perform(act: Act) -> Done:
        shelf = find.shelf(act.actor, request.POST.get("shelf", ""))
        lot = find.lot(request.POST.get("lot", ""))
        units = whole(request.POST, "units", least=1, what=_("Units"))
        done = receiving.arrive(act, lot=lot, units=units, shelf=shelf)
        says = [
            _("%(units)d × %(thing)s arrived: %(place)s.")
            % {"units": done.units, "thing": lot.item.name, "place": done.place.name}
        ]
        return Done(" ".join([*says, *(remark.text for remark in done.remarks)]), done.entry.pk)

    return acted(request, perform, to=reverse("stock"))
