"""Counting a shelf without looking at the book: what was found is typed first, then each
difference is explained, then it is written."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.fields import one_more, whole, words
from gearroom.site.web.page.shell import Done, acted, actor, here, no_room, page, show
from gearroom.site.web.scan.pictures import batch_of
from kits.models import Item, Lot, Place
from kits.rules.ledger.facts import Kind
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.stock import counting, receiving, views
from kits.services.stock.counting import CountLine, Difference

_ELSE = range(3)
"""How many other things the page has lines for at a time."""
_OF_THE_SHEET = frozenset({"lot", "thing", "number", "printed", "units", "began", "rest"})


@require_safe
@page("count")
def shelves(request: HttpRequest) -> HttpResponse:
    """The shelves of the room that this device stands in, and when each was last counted."""
    room = here(request)
    if room is None:
        return no_room(request)
    facts = {"room": room, "shelves": views.shelves(room)}
    return show(request, "site/stock/shelves.html", facts)


@page("count")
def shelf(request: HttpRequest, shelf: int) -> HttpResponse:
    """Count one shelf: the sheet, then the differences, then it is in the book."""
    found = find.shelf(actor(request), shelf)
    if request.method != "POST":
        return _sheet(request, found)
    try:
        batch = batch_of(request) if request.POST.get("read") else None
        if batch is not None:
            return _sheet(request, found, said=_one_more(request, found, batch), batch=batch)
        if "write" in request.POST:
            return _written(request, found)
        if "back" in request.POST:
            return _sheet(request, found)
        return _compared(request, found)
    except Problem as problem:
        return _sheet(request, found, problem)


@require_safe
@page("count")
def paper(request: HttpRequest, shelf: int) -> HttpResponse:
    """The same sheet to print and fill in by pencil."""
    found = find.shelf(actor(request), shelf)
    rows = views.held_batches(actor(request), place=found)
    return show(request, "site/stock/count_paper.html", {"shelf": found, "rows": _by_thing(rows)})


# -------------------------------------------------------------------------------------- the sheet
def _sheet(
    request: HttpRequest,
    place: Place,
    problem: Problem | None = None,
    said: QueryDict | None = None,
    batch: Lot | None = None,
) -> HttpResponse:
    said = request.POST if said is None else said
    began = said.get("began", "")
    rows = _by_thing(views.held_batches(actor(request), place=place))
    facts = {
        "shelf": place,
        "problem": problem,
        "batch": batch,
        "rows": [{"lot": row.lot, "said": said.get(f"lot-{row.lot.pk}", "")} for row in rows],
        "others": [
            {name: said.get(f"{name}-{n}", "") for name in ("thing", "number", "printed", "units")}
            | {"n": n}
            for n in _ELSE
        ],
        "things": Item.objects.order_by("name").values_list("name", flat=True),
        "rest": "rest" in said,
        "began": began if began.isdigit() and len(began) < 19 else views.newest_movement(place),
    }
    status = problem.status if problem else 200
    return show(request, "site/stock/count.html", facts, status=status)


def _one_more(request: HttpRequest, place: Place, batch: Lot) -> QueryDict:
    """What the sheet says, and one more of a batch that was scanned: in its own field, or else on
    a line for what the book does not have there. Raises Invalid."""
    said = request.POST.copy()
    fields = {
        row.lot.pk: f"lot-{row.lot.pk}" for row in views.held_batches(actor(request), place=place)
    }
    number = batch.serial or batch.number
    for n in _ELSE:
        typed = (words(said, f"thing-{n}"), words(said, f"number-{n}"))
        if typed in (("", ""), (batch.item.name, number)):
            fields.setdefault(batch.pk, f"units-{n}")
    name = fields.get(batch.pk)
    if name is None:
        raise Invalid(
            _(
                "There is no free line for %(item)s. Compare with the record, then continue "
                "counting."
            )
            % {"item": batch.item.name}
        )
    said[name] = one_more(said.get(name, ""))
    if name.startswith("units-"):
        n = name.removeprefix("units-")
        said[f"thing-{n}"], said[f"number-{n}"] = batch.item.name, number
        said[f"printed-{n}"] = batch.expiry.isoformat() if batch.expiry else ""
    return said


def _by_thing(rows: list[views.HeldBatch]) -> list[views.HeldBatch]:
    return sorted(rows, key=lambda row: (row.lot.item.name.casefold(), row.lot.pk))


@dataclass(frozen=True)
class Sheet:
    """What a sheet says was found; whether it says that nothing else is there; and the sheet's own
    name for each batch (by id), which stays the same for one not known before."""

    found: list[CountLine]
    complete: bool
    names: dict[int, str]

    def name(self, lot: Lot) -> str:
        """The sheet's name for a batch."""
        return self.names.get(lot.pk, f"lot-{lot.pk}")


def _read(request: HttpRequest, place: Place) -> Sheet:
    said = request.POST
    found: dict[int, CountLine] = {}
    names: dict[int, str] = {}
    for name in sorted(said):
        if name.startswith("lot-") and said[name].strip():
            lot = find.lot(name.removeprefix("lot-"))
            found[lot.pk] = CountLine(place, whole(said, name, what=_title(lot)), lot=lot)
    for n in _ELSE:
        if words(said, f"thing-{n}"):
            lot, units = _other(request, place, n)
            if lot.pk in found:
                raise Invalid(
                    _("%(batch)s is on the sheet twice. Add the two numbers up.")
                    % {"batch": _title(lot)}
                )
            found[lot.pk] = CountLine(place, units, lot=lot)
            names[lot.pk] = f"else-{n}"
    return Sheet(list(found.values()), "rest" in said, names)


def _other(request: HttpRequest, place: Place, n: int) -> tuple[Lot, int]:
    """A line for something that the book does not have on this shelf."""
    said = request.POST
    item = find.item(words(said, f"thing-{n}", 120))
    assert place.room is not None  # a shelf is a room's
    units = whole(said, f"units-{n}", least=1, what=item.name)
    printed = words(said, f"printed-{n}", 40)
    expiry = lots.printed_expiry(printed, today=receiving.today_in(place.room))
    number = words(said, f"number-{n}", 80)
    serial, number = (number, "") if item.kind == Kind.INSTRUMENT else ("", number)
    return lots.known(item=item, number=number, serial=serial, expiry=expiry), units


def _title(lot: Lot) -> str:
    return f"{lot.item.name} {lot.number or lot.serial}".strip()


# -------------------------------------------------------------------------------- the differences
def whys() -> dict[str, str]:
    """Why a book may have been wrong, as people say it."""
    return {
        "used": _("Used without a record"),
        "kit": _("Put into or taken from a kit without a record"),
        "shelf": _("It is on another shelf"),
        "arrived": _("Arrived without a record"),
        "thrown-out": _("Disposed of without a record"),
        "miscounted": _("Counted wrongly before"),
        "not-known": _("Nobody knows"),
    }


def _differing(request: HttpRequest, place: Place) -> tuple[Sheet, list[Difference]]:
    """The sheet and where it differs from the book; nothing is written."""
    with transaction.atomic():
        sheet = _read(request, place)
        rows = counting.differences([place], sheet.found, complete=sheet.complete)
        transaction.set_rollback(True)  # a batch that is new here is made when the count is written
    return sheet, rows


def _compared(request: HttpRequest, place: Place, problem: Problem | None = None) -> HttpResponse:
    said = request.POST
    sheet, rows = _differing(request, place)
    began = said.get("began", "")
    moved = views.moved_since(place, int(began) if began.isdigit() and len(began) < 19 else 0)
    facts = {
        "shelf": place,
        "problem": problem,
        "differences": [
            {
                "row": row,
                "name": sheet.name(row.lot),
                "moved": row.lot.pk in moved,
                "why": said.get(f"why-{sheet.name(row.lot)}", ""),
                "note": said.get(f"note-{sheet.name(row.lot)}", ""),
            }
            for row in rows
        ],
        "left_out": 0 if sheet.complete else len(counting.not_counted([place], sheet.found)),
        "whys": whys(),
        "sheet": [(name, said[name]) for name in said if name.split("-")[0] in _OF_THE_SHEET],
    }
    status = problem.status if problem else 200
    return show(request, "site/stock/count_differences.html", facts, status=status)


def _written(request: HttpRequest, place: Place) -> HttpResponse:
    sheet, rows = _differing(request, place)
    silent = [row.lot for row in rows if not _why(request, sheet.name(row.lot))]
    if silent:
        says = _("Choose a reason for each difference, as far as anybody knows: %(what)s.")
        told = says % {"what": ", ".join(_title(lot) for lot in silent)}
        return _compared(request, place, Invalid(told))

    def perform(act: Act) -> Done:
        sheet = _read(request, place)
        rows = counting.differences([place], sheet.found, complete=sheet.complete)
        explained = {row.lot.pk: _why(request, sheet.name(row.lot)) for row in rows}
        done = counting.count(
            act, [place], sheet.found, complete=sheet.complete, explained=explained
        )
        says = ngettext(
            "%(shelf)s is counted, %(n)d difference saved.",
            "%(shelf)s is counted, %(n)d differences saved.",
            len(done.differences),
        )
        if not done.differences:
            says = _("%(shelf)s is counted: all as on record.")
        return Done(says % {"shelf": place.name, "n": len(done.differences)}, done.entry.pk)

    return acted(request, perform, to=reverse("count"))


def _why(request: HttpRequest, name: str) -> str:
    """Why the book was wrong about a batch, as the form says it; nothing where it does not."""
    why = whys().get(request.POST.get(f"why-{name}", ""), "")
    note = words(request.POST, f"note-{name}", 120)
    return f"{why}: {note}" if why and note else why
