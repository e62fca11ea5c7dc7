"""Counting a shelf without looking at the record: what is there is typed first, then each
difference is explained, then it is written."""

from dataclasses import dataclass

from django.db import transaction
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    acted,
    actor,
    id_of,
    one_more,
    page,
    read_field,
    read_page,
    room_here,
    show,
)
from gearroom.site.web.scan.pictures import batch_of
from kits.models import Item, Lot, Place
from kits.rules.ledger.facts import Kind
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.stock import counting, moving, receiving, views
from kits.services.stock.counting import CountLine, Difference

_OTHERS = range(3)
"""How many other items the page has lines for at a time."""
_OF_THE_SHEET = frozenset({"lot", "thing", "number", "printed", "units", "began", "rest"})


@read_page("count")
def shelves(request: HttpRequest) -> HttpResponse:
    """The shelves of the room that this device stands in, and when each was last counted."""
    room = room_here(request)
    return show(request, "site/stock/count/shelves.html", room=room, shelves=views.shelves(room))


@page("count")
def shelf(request: HttpRequest, shelf: int) -> HttpResponse:
    """Count one shelf: the sheet, then the differences, then it is written."""
    place = find.shelf(actor(request), shelf)
    try:
        batch = batch_of(request) if request.POST.get("read") else None
        if batch is not None:
            return _sheet_page(request, place, sent=_one_more(request, place, batch), batch=batch)
        if "write" in request.POST:
            return _write(request, place)
        if request.method != "POST" or "back" in request.POST:
            return _sheet_page(request, place)
        return _differences_page(request, place)
    except Problem as problem:
        return _sheet_page(request, place, problem)


@read_page("count")
def paper(request: HttpRequest, shelf: int) -> HttpResponse:
    """The same sheet to print and fill in by pencil."""
    place = find.shelf(actor(request), shelf)
    return show(request, "site/stock/count/paper.html", shelf=place, rows=_by_item(request, place))


# -------------------------------------------------------------------------------------- the sheet
class OtherForm(PageForm):
    """Something that is not on record on the shelf."""

    thing = ShortText(120)
    number = ShortText(80)
    printed = ShortText(40)
    units = WholeNumber(least=1)


def _sheet_page(
    request: HttpRequest,
    place: Place,
    problem: Problem | None = None,
    sent: QueryDict | None = None,
    batch: Lot | None = None,
) -> HttpResponse:
    sent = request.POST if sent is None else sent
    lots = [row.lot for row in _by_item(request, place)]
    began = id_of(sent.get("began", ""))  # the newest movement then
    return show(
        request,
        "site/stock/count/count.html",
        problem=problem,
        shelf=place,
        batch=batch,
        rows=[{"lot": lot, "units": sent.get(f"lot-{lot.pk}", "")} for lot in lots],
        others=[
            {"n": n, **{name: sent.get(f"{name}-{n}", "") for name in OtherForm.base_fields}}
            for n in _OTHERS
        ],
        things=Item.objects.order_by("name").values_list("name", flat=True),
        rest="rest" in sent,
        began=views.newest_movement(place) if began is None else began,
    )


def _one_more(request: HttpRequest, place: Place, batch: Lot) -> QueryDict:
    """What the sheet says, and one more of a batch that was scanned: in its own field, or else on
    a line for what is not on record there. Raises Invalid."""
    sent = request.POST.copy()
    fields = {row.lot.pk: f"lot-{row.lot.pk}" for row in _by_item(request, place)}
    number = batch.serial or batch.number
    for n in _OTHERS:
        typed = (sent.get(f"thing-{n}", "").strip(), sent.get(f"number-{n}", "").strip())
        if typed in (("", ""), (batch.item.name, number)):
            fields.setdefault(batch.pk, f"units-{n}")
    if (name := fields.get(batch.pk)) is None:
        raise Invalid(
            _(
                "There is no free row left for %(item)s. Compare with the record, then "
                "continue counting."
            )
            % {"item": batch.item.name}
        )
    sent[name] = one_more(sent.get(name, ""))
    if name.startswith("units-"):
        line = name.removeprefix("units-")
        sent[f"thing-{line}"], sent[f"number-{line}"] = batch.item.name, number
        sent[f"printed-{line}"] = batch.expiry.isoformat() if batch.expiry else ""
    return sent


def _by_item(request: HttpRequest, place: Place) -> list[views.HeldBatch]:
    return sorted(
        views.held_batches(actor(request), place=place),
        key=lambda row: (row.lot.item.name.casefold(), row.lot.pk),
    )


@dataclass(frozen=True)
class Sheet:
    """What a sheet says is there; whether it says that nothing else is; and the sheet's own name
    for each batch (by id), which stays the same for one not known before."""

    lines: list[CountLine]
    complete: bool
    names: dict[int, str]

    def name(self, lot: Lot) -> str:
        """The sheet's name for a batch."""
        return self.names.get(lot.pk, f"lot-{lot.pk}")


def _read(sent: QueryDict, place: Place) -> Sheet:
    lines: dict[int, CountLine] = {}
    names: dict[int, str] = {}
    for name in sorted(sent):
        if name.startswith("lot-") and sent.get(name, "").strip():
            lot = find.lot(name.removeprefix("lot-"))
            units = read_field(WholeNumber(label=_title(lot)), sent, name)
            lines[lot.pk] = CountLine(place, units, lot=lot)
    for n in _OTHERS:
        if sent.get(f"thing-{n}", "").strip():
            line, lot = _other(sent, place, n)
            if lot.pk in lines:
                raise Invalid(
                    _("%(batch)s is on the sheet twice. Add the two numbers together.")
                    % {"batch": _title(lot)}
                )
            lines[lot.pk], names[lot.pk] = line, f"else-{n}"
    return Sheet(list(lines.values()), "rest" in sent, names)


def _other(sent: QueryDict, place: Place, n: int) -> tuple[CountLine, Lot]:
    """A line for something that is not on record on this shelf."""
    item = find.item(sent.get(f"thing-{n}", "").strip()[:120])
    values = OtherForm.read(sent, row=n, labels={"units": item.name})
    today = receiving.today_in(moving.room_of(place, None))
    lot = lots.known(
        item=item,
        expiry=lots.printed_expiry(values["printed"], today=today),
        **{"serial" if item.kind == Kind.INSTRUMENT else "number": values["number"]},
    )
    return CountLine(place, values["units"], lot=lot), lot


def _title(lot: Lot) -> str:
    return f"{lot.item.name} {lot.number or lot.serial}".strip()


# -------------------------------------------------------------------------------- the differences
def whys() -> dict[str, str]:
    """Why a record may have been wrong, as people say it."""
    return {
        "used": _("Used without being recorded"),
        "kit": _("Put into or removed from a kit without being recorded"),
        "shelf": _("It is on another shelf"),
        "arrived": _("Arrived without being recorded"),
        "thrown-out": _("Disposed of without being recorded"),
        "miscounted": _("Miscounted before"),
        "not-known": _("Not known"),
    }


def _differences(sent: QueryDict, place: Place) -> tuple[Sheet, list[Difference]]:
    """The sheet, and where it differs from the record."""
    sheet = _read(sent, place)
    return sheet, counting.differences([place], sheet.lines, complete=sheet.complete)


def _previewed(sent: QueryDict, place: Place) -> tuple[Sheet, list[Difference]]:
    """The same, and nothing is written."""
    with transaction.atomic():
        sheet, differences = _differences(sent, place)
        transaction.set_rollback(True)  # a batch that is new here is made when the count is written
    return sheet, differences


def _differences_page(
    request: HttpRequest, place: Place, problem: Problem | None = None
) -> HttpResponse:
    sent = request.POST
    sheet, differences = _previewed(sent, place)
    moved = views.moved_since(place, id_of(sent.get("began", "")) or 0)
    return show(
        request,
        "site/stock/count/differences.html",
        problem=problem,
        shelf=place,
        differences=[
            {
                "row": each,
                "name": (name := sheet.name(each.lot)),
                "moved": each.lot.pk in moved,
                "why": sent.get(f"why-{name}", ""),
                "note": sent.get(f"note-{name}", ""),
            }
            for each in differences
        ],
        left_out=0 if sheet.complete else len(counting.not_counted([place], sheet.lines)),
        whys=whys(),
        sheet=[(name, sent[name]) for name in sent if name.split("-")[0] in _OF_THE_SHEET],
    )


def _write(request: HttpRequest, place: Place) -> HttpResponse:
    sent = request.POST
    sheet, differences = _previewed(sent, place)
    silent = [each.lot for each in differences if not _reason_of(sent, sheet.name(each.lot))]
    if silent:
        sentence = _("Choose a reason for each difference, if known: %(what)s.")
        sentence %= {"what": ", ".join(map(_title, silent))}
        return _differences_page(request, place, Invalid(sentence))

    def perform(act: Act) -> Done:
        sheet, differences = _differences(sent, place)
        explained = {each.lot.pk: _reason_of(sent, sheet.name(each.lot)) for each in differences}
        done = counting.count(
            act, [place], sheet.lines, complete=sheet.complete, explained=explained
        )
        sentence = ngettext(
            "%(shelf)s has been counted: %(n)d discrepancy recorded.",
            "%(shelf)s has been counted: %(n)d discrepancies recorded.",
            len(done.differences),
        )
        if not done.differences:
            sentence = _("%(shelf)s has been counted: everything matches the record.")
        return Done(sentence % {"shelf": place.name, "n": len(done.differences)}, done.entry.pk)

    return acted(request, perform, to=reverse("count"))


def _reason_of(sent: QueryDict, name: str) -> str:
    """Why the record was wrong about a batch, as the form says it; nothing where it does not."""
    why = whys().get(sent.get(f"why-{name}", ""), "")
    note = sent.get(f"note-{name}", "").strip()[:120]
    return f"{why}: {note}" if why and note else why
