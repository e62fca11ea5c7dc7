"""Tables out to a file and in from one: what a file would change is shown before it is done."""

from dataclasses import dataclass
from typing import Any

from django.core import signing
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import (
    Day,
    Done,
    PageForm,
    acted,
    actor,
    here,
    page,
    read_page,
    rooms_of,
    show,
)
from kits.services.exchange import exporting, importing, registry
from kits.services.exchange.importing import ChangeShown, FaultShown, Imported
from kits.services.exchange.table import Filters, Table
from kits.services.lookup import find
from kits.services.text.wording import in_words
from labels.services import table_files

_ONE = "site/exchange/one.html"
_SALT, _A_DAY = "table-file", 24 * 3600
_MOST_SHOWN = 2000
"""Changes on one page; a program gets all of them."""


@dataclass(frozen=True)
class CheckedFile:
    """A file as it was checked: what it would change, its cells for when it is imported, and
    whether it has all there is."""

    result: Imported
    cells: list[list[Any]]
    whole: bool

    @property
    def sealed(self) -> str:
        """Its cells as the page carries them, so that nobody can change them on the way."""
        held = {"cells": self.cells, "whole": self.whole, "table": self.result.table}
        return signing.dumps(held, salt=_SALT, compress=True)


class DaysForm(PageForm):
    """From which day to which."""

    since = Day(required=False)
    until = Day(required=False)


@read_page("export_tables")
def overview(request: HttpRequest) -> HttpResponse:
    """The tables that there are."""
    tables = [(of.name, in_words(of.title), in_words(of.meaning)) for of in _tables(request)]
    return show(request, "site/exchange/tables.html", tables=tables)


def _tables(request: HttpRequest) -> list[Table]:
    return registry.offered(actor(request))


@page("export_tables")
def one(request: HttpRequest, table: str) -> HttpResponse:
    """One table: download it; check a file; import what was checked. Only the last is an act."""
    of = registry.table(actor(request), table)
    if request.method != "POST":
        return _page(request, of)
    actor(request).require("import_tables")
    try:
        if "sure" not in request.POST:
            return _page(request, of, checked=_check(request, of, *_sent(request, of)))
        cells, whole = _sealed(request, of)
        try:
            return _import(request, of, cells, whole)
        except Problem as problem:
            return _page(request, of, problem, _check(request, of, cells, whole))
    except Problem as problem:
        return _page(request, of, problem)


def _sent(request: HttpRequest, of: Table) -> tuple[list[list[Any]], bool]:
    if (file := request.FILES.get("file")) is None:
        raise Invalid(_("Choose the file first."), field="file")
    content = file.read(importing.MOST_BYTES + 1)
    return table_files.cells_of(content, of), bool(request.POST.get("whole"))


def _sealed(request: HttpRequest, of: Table) -> tuple[list[list[Any]], bool]:
    try:
        held = signing.loads(request.POST["sure"], salt=_SALT, max_age=_A_DAY)
    except signing.BadSignature:  # expired too
        raise Invalid(_("The file was checked too long ago. Choose it again.")) from None
    if held["table"] != of.name:
        raise Invalid(_("This file was checked for another table. Choose it again."))
    return held["cells"], held["whole"]


def _check(request: HttpRequest, of: Table, cells: list[list[Any]], whole: bool) -> CheckedFile:
    act = Act(actor=actor(request), room=here(request))
    result = importing.import_file(act, of, cells, dry_run=True, whole=whole)
    return CheckedFile(result, cells, whole)


def _import(request: HttpRequest, of: Table, cells: list[list[Any]], whole: bool) -> HttpResponse:
    def perform(act: Act) -> Done:
        plan = request.POST.get("plan", "")
        done = importing.import_file(act, of, cells, dry_run=False, whole=whole, plan=plan)
        says = ngettext("%(n)d change has been made.", "%(n)d changes have been made.",
                        len(done.changes))  # fmt: skip
        return Done(says % {"n": len(done.changes)})

    return acted(request, perform, to=reverse("table", args=[of.name]))


def _page(
    request: HttpRequest,
    of: Table,
    problem: Problem | None = None,
    checked: CheckedFile | None = None,
) -> HttpResponse:
    importer = of.importer
    return show(
        request,
        _ONE,
        problem=problem,
        table=of,
        heading=in_words(of.title),
        meaning=in_words(of.meaning),
        columns=[
            (column.name, in_words(column.title), exporting.meaning(column), column)
            for column in of.columns
        ],
        room_choices=[(room.slug, room.name) for room in rooms_of(request)],
        may_import=registry.may_import(actor(request), of),
        may_be_whole=importer is not None and importer.may_be_whole,
        checked=checked,
        changes=[_shown(of, change) for change in checked.result.changes[:_MOST_SHOWN]]
        if checked
        else (),
        more=max(0, len(checked.result.changes) - _MOST_SHOWN) if checked else 0,
        refused=[_refused(of, fault) for fault in checked.result.refused] if checked else (),
    )


_WHAT = {
    "new": gettext_lazy("New"),
    "changed": gettext_lazy("Changed"),
    "removed": gettext_lazy("No longer there"),
    "moved": gettext_lazy("The rows are in another order"),
}


def _shown(of: Table, change: ChangeShown) -> dict[str, Any]:
    """A change in words: what is done, and each cell with what it was."""
    return {
        "what": str(_WHAT[change.what]),
        "name": change.name,
        "row": change.row,
        "is_new": change.what == "new",
        "cells": [(in_words(of.by_name[c.column].title), c.old, c.new) for c in change.cells],
    }


def _refused(of: Table, fault: FaultShown) -> dict[str, Any]:
    column = of.by_name.get(fault.column)
    return {
        "row": fault.row,
        "column": in_words(column.title) if column else fault.column,
        "says": fault.says,
    }


@read_page("export_tables")
def file(request: HttpRequest, table: str) -> HttpResponseBase:
    """A table as a file."""
    of = registry.table(actor(request), table)
    days = DaysForm.read(request.GET)
    room = request.GET.get("room", "")
    filters = Filters(find.room(actor(request), room) if room else None, **days)
    form = "xlsx" if request.GET.get("format") == "xlsx" else "csv"
    made = exporting.export(actor(request), of, filters, form)
    return StreamingHttpResponse(
        made.content,
        content_type=made.media,
        headers={"Content-Disposition": f'attachment; filename="{made.name}"'},
    )
