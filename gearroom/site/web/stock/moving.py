"""One batch in one place, and what can be done with it there: moved, sent to another room, opened,
disposed of; and what another room sent, arriving."""

from dataclasses import replace

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, NotAllowed, NotFound, Problem
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    rooms_of,
    show,
)
from gearroom.site.web.page.words import DISPOSALS
from gearroom.site.web.stock.stock import with_faults
from kits.models import Disposal, PlaceKind
from kits.rules.ledger import OUT_OF_DATE
from kits.rules.ledger.facts import Kind
from kits.rules.stock import disposal as ways
from kits.services.ledger import lots, room_place
from kits.services.lookup import find
from kits.services.stock import (
    corrections,
    disposing,
    instruments,
    moving,
    receiving,
    reclassifying,
    views,
)
from kits.services.stock.views import HeldBatch
from kits.services.text import wording
from kits.services.text.wording import good_until


def _page(
    request: HttpRequest, place: int, lot: int, problem: Problem | None = None
) -> HttpResponse:
    if isinstance(problem, NotAllowed | NotFound):
        raise problem
    who, row = actor(request), views.held_batch(actor(request), place, lot)
    item, home, kind = row.lot.item, row.place.room_now, row.place.kind
    taught = item.for_class
    return show(
        request,
        "site/stock/lot_at.html",
        problem=problem,
        row=with_faults([row])[0],
        room=home,
        units=request.POST.get("units") or row.units,
        shelves=[each.place for each in views.shelves(home) if each.place != row.place],
        apart=[
            each
            for each in (PlaceKind.QUARANTINE, *([PlaceKind.TRAINING] if taught else []))
            if each != kind
        ],
        for_training=taught
        and kind in (PlaceKind.SHELF, PlaceKind.QUARANTINE)
        and row.fault in OUT_OF_DATE
        and who.may("move", home.pk),
        rooms=[room for room in rooms_of(request) if room != home and kind == PlaceKind.SHELF],
        ways=[
            (way, DISPOSALS[Disposal(way)]) for way in ways.allowed(Kind(item.kind), item.disposal)
        ],
        may_correct=who.may("correct_lot"),
        may_check=item.kind == Kind.INSTRUMENT and who.may("check_instrument", home.pk),
        may_open=item.opened_life_days is not None
        and row.lot.opened_on is None
        and who.may("open", home.pk),
        may_move=who.may("move", home.pk),
        may_dispose=who.may("dispose", home.pk),
        may_leave=kind == PlaceKind.SHELF and who.may("dispose", home.pk),
    )


class BatchForm(PageForm):
    """What the page says of a batch, wherever it is."""

    reason = ShortText()
    printed = ShortText(40)
    number = ShortText(80)
    answer = ShortText(200)


class UnitsForm(PageForm):
    """How many units of it, in this place."""

    units = WholeNumber(least=1, label=gettext_lazy("Units"))


@form_view("look", page_of=_page)
def batch_at(act: Act, request: HttpRequest, place: int, lot: int) -> Done:
    """A batch in a place: what it is, and one form for each thing that can be done with it."""
    sent, values = request.POST, BatchForm.read(request.POST)
    name = next((name for name in (*_OF_UNITS, *_OF_BATCH) if name in sent), None)
    if name is None:
        raise Invalid(_("Choose an action."))
    row, act = views.held_batch(act.actor, place, lot), replace(act, reason=values["reason"])
    done = (
        _OF_BATCH[name](act, row, sent)
        if name in _OF_BATCH
        else _OF_UNITS[name](act, row, UnitsForm.read(sent)["units"], sent[name])
    )
    return replace(done, to=reverse("thing", args=[row.lot.item_id]))


def _correct(act: Act, row: HeldBatch, sent: QueryDict) -> Done:
    values, today = BatchForm.read(sent), receiving.today_in(row.place.room_now)
    expiry = lots.printed_expiry(values["printed"], today=today)
    done = corrections.correct(act, row.lot, number=values["number"], expiry=expiry)
    sentence = _(
        "%(thing)s has been corrected. The status of every kit that contains it will be updated."
    ) % {"thing": row.lot.item.name}
    return Done(f"{sentence} {good_until(expiry)}".strip(), done.entry.pk)


def _check(act: Act, row: HeldBatch, sent: QueryDict) -> Done:
    passed = sent["check"] == "passed"
    done = instruments.check(act, row.lot, passed=passed, answer=BatchForm.read(sent)["answer"])
    sentence = (
        _("%(thing)s passed its check.")
        if passed
        else _("%(thing)s failed its check and is on hold.")
    )
    return Done(sentence % {"thing": f"{row.lot.item.name} {row.lot.serial}"}, done.entry.pk)


def _move(act: Act, row: HeldBatch, units: int, to: str) -> Done:
    if to in (PlaceKind.QUARANTINE, PlaceKind.TRAINING):
        room = row.place.room_now
        act.actor.require("move", room.pk)
        target = room_place(room, PlaceKind(to))
    else:
        target = find.shelf(act.actor, to)
    entry = moving.move(act, lot=row.lot, units=units, source=row.place, target=target)
    return Done(
        _("%(units)d × %(thing)s moved to %(place)s.") % _names(row, units, place=target.name),
        entry.pk,
    )


def _send(act: Act, row: HeldBatch, units: int, to: str) -> Done:
    room = find.any_room(to)
    entry = moving.send(act, lot=row.lot, units=units, source=row.place, room=room)
    return Done(
        _(
            "%(units)d × %(thing)s sent to %(place)s. This stock will belong to that gear room "
            "once its arrival is recorded there."
        )
        % _names(row, units, place=room.name),
        entry.pk,
    )


def _dispose(act: Act, row: HeldBatch, units: int, way: str) -> Done:
    try:
        disposal = Disposal(way)
    except ValueError:
        raise Invalid(_("Choose how to dispose of the item."), field="dispose") from None
    entry = disposing.dispose(act, place=row.place, lot=row.lot, units=units, disposal=disposal)
    return Done(
        _("%(units)d × %(thing)s disposed of (%(place)s).")
        % _names(row, units, place=DISPOSALS[disposal]),
        entry.pk,
    )


def _open(act: Act, row: HeldBatch, units: int, _value: str) -> Done:
    done = reclassifying.open_pack(act, place=row.place, lot=row.lot, units=units)
    return Done(_("%(units)d × %(thing)s opened.") % _names(row, units), done.entry.pk)


_OF_UNITS = {"move": _move, "send": _send, "dispose": _dispose, "open": _open}
_OF_BATCH = {"correct": _correct, "check": _check}
"""What is done with units in this place, and what with the batch wherever it is."""


def _names(row: HeldBatch, units: int, **more: object) -> dict[str, object]:
    return {"units": units, "thing": row.lot.item.name, **more}


class ArrivalForm(UnitsForm):
    """What arrived, on which shelf."""

    shelf = ShortText()
    lot = ShortText()


@form_view("move", "stock")
def arrive(act: Act, request: HttpRequest) -> Done:
    """What another room sent is here, on a shelf."""
    values = ArrivalForm.read(request.POST)
    lot, shelf = find.lot(values["lot"]), find.shelf(act.actor, values["shelf"])
    done = moving.arrive(act, lot=lot, units=values["units"], shelf=shelf)
    sentence = _("%(units)d × %(thing)s arrived. Put away in: %(place)s.") % {
        "units": done.units,
        "thing": lot.item.name,
        "place": wording.place(done.place.kind, done.place.name, with_room=False),
    }
    return Done(" ".join([sentence, *(remark.text for remark in done.remarks)]), done.entry.pk)
