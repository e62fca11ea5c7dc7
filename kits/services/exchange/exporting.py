"""Writing a table to a file, a bit at a time: as CSV, or as a workbook (Office Open XML, ISO/IEC
29500). However many rows there are, only a few are in memory."""

import csv
import io
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from typing import IO

from django.utils.translation import gettext as _

from gearroom.core.acts import Actor, Invalid, Unacceptable
from gearroom.core.models.installation import current
from kits.rules.exchange.formulas import neutral
from kits.rules.exchange.values import Cell, Column, Type, written
from kits.services.exchange.table import Filters, Row, Table
from kits.services.text.wording import in_words

FORMATS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""The formats, each with its media type."""

MOST_IN_WORKBOOK = 50_000
"""Rows of a workbook, which has to be whole before its first byte can be sent."""

_MARK = "\ufeff"
"""Tells spreadsheets that the text is UTF-8."""
_AT_ONCE = 500
_BLOCK = 64 * 1024


@dataclass(frozen=True)
class Export:
    """A file: its name, media type and content."""

    name: str
    media: str
    content: Iterator[bytes]


def export(actor: Actor, table: Table, filters: Filters, form: str) -> Export:
    """A table as a file of one of `FORMATS`, with what somebody may see.

    Raises NotAllowed; Invalid for a filter that the table does not take; Unacceptable
    (`too-many-rows`) where a workbook cannot hold them.
    """
    room = filters.room.pk if filters.room else None
    actor.require("export_tables", room)
    actor.require(table.use_case, room)
    for name in ("room", "since", "until"):
        if getattr(filters, name) is not None and name not in table.narrowed_by:
            raise Invalid(_("This table cannot be filtered by this. Leave it empty."), field=name)
    if filters.since and filters.until and filters.until < filters.since:
        raise Invalid(_("The last day is before the first day."), field="until")
    rows = table.rows(actor, filters)
    write = csv_of if form == "csv" else workbook_of
    stem = "-".join(filter(None, (current().organisation, table.name)))
    name = "".join(c if c.isalnum() else "-" for c in stem.casefold() if c.isascii()).strip("-")
    return Export(f"{name}.{form}", FORMATS[form], write(table, rows))


def csv_of(table: Table, rows: Iterable[Row]) -> Iterator[bytes]:
    """A table as CSV (RFC 4180) in UTF-8, some rows at a time."""
    names = [column.name for column in table.columns]
    lines: Iterator[Sequence[Cell]] = chain([names], (_cells(names, row) for row in rows))
    mark = _MARK
    while some := list(islice(lines, _AT_ONCE)):
        out = io.StringIO(newline="")
        csv.writer(out).writerows(some)
        yield (mark + out.getvalue()).encode()
        mark = ""


def _cells(names: Iterable[str], row: Row) -> list[Cell]:
    return [written(row.get(name)) for name in names]


def workbook_of(table: Table, rows: Iterable[Row]) -> Iterator[bytes]:
    """A table as a workbook: the rows, then what each column means. It is written to a file that
    has no name, a row at a time, before anything is sent, so that what is refused is."""
    return _blocks(_saved(table, rows))


def _blocks(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while block := file.read(_BLOCK):
            yield block


def _saved(table: Table, rows: Iterable[Row]) -> IO[bytes]:
    # Every process that serves pages would load these, and most write no workbook.
    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.utils import get_column_letter

    def clean(cell: Cell) -> Cell:
        return ILLEGAL_CHARACTERS_RE.sub("", cell) if isinstance(cell, str) else cell

    book = Workbook(write_only=True)
    sheet = book.create_sheet(in_words(table.title)[:31])
    sheet.freeze_panes = "A2"
    names = [column.name for column in table.columns]
    for number, column in enumerate(table.columns, start=1):
        wide = 30 if column.type is Type.TEXT else 16
        sheet.column_dimensions[get_column_letter(number)].width = wide
    sheet.append(names)
    for number, row in enumerate(rows, start=1):
        if number > MOST_IN_WORKBOOK:
            raise Unacceptable(
                "too-many-rows",
                _(
                    "A spreadsheet can have at most %(most)s rows. Choose fewer days, or download "
                    "this as CSV."
                )
                % {"most": MOST_IN_WORKBOOK},
            )
        sheet.append([clean(cell) for cell in _cells(names, row)])
    meanings = book.create_sheet(_("Columns"))
    meanings.column_dimensions["A"].width = meanings.column_dimensions["B"].width = 26
    meanings.column_dimensions["C"].width = 90
    for column in table.columns:
        says = (column.name, in_words(column.title), meaning(column))
        meanings.append([neutral(text) for text in says])
    file = tempfile.TemporaryFile()  # noqa: SIM115  # closed when it has been sent
    book.save(file)
    file.seek(0)
    return file


def meaning(column: Column) -> str:
    """What a column means, with the codes that it may have."""
    says = in_words(column.meaning)
    return f"{says} ({', '.join(column.choices)})" if column.choices else says
