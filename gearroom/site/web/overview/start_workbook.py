"""The start workbook as a file (Office Open XML, ISO/IEC 29500): written empty in the language of
whoever asks, and read back as plain cells for `kits.rules.overview.workbook`."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from gearroom.core.acts.problems import Invalid, TooLarge
from kits.rules.ledger.facts import Criticality, Kind
from kits.rules.overview.workbook import COLUMNS, MOST_ROWS
from labels.services.scan import read_picture

MOST_BYTES = 2 * 1024 * 1024
"""A workbook of a school is some tens of kilobytes; more is not one."""

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

SHEETS: dict[str, str | Promise] = {
    "shelves": gettext_lazy("Shelves"),
    "things": gettext_lazy("Items"),
    "lists": gettext_lazy("Kit lists"),
    "kits": gettext_lazy("Kits"),
    "where": gettext_lazy("Contents"),
}
HEADINGS: dict[str, str | Promise] = {
    "name": gettext_lazy("Name"),
    "kind": gettext_lazy("Kind"),
    "base_unit": gettext_lazy("Counted in (piece, pair, tablet …)"),
    "needs_date": gettext_lazy("Needs a date"),
    "sterile": gettext_lazy("Sterile"),
    "by_eye": gettext_lazy("Loose, not counted"),
    "check_every_days": gettext_lazy("Checked every … days (instruments)"),
    "check_question": gettext_lazy("What the check asks"),
    "gtin": gettext_lazy("Number below the maker’s barcode (GTIN)"),
    "units_per_pack": gettext_lazy("How many in a pack with that number"),
    "list": gettext_lazy("Kit list"),
    "people": gettext_lazy("People it serves"),
    "days": gettext_lazy("Days it serves"),
    "section": gettext_lazy("Pouch"),
    "thing": gettext_lazy("Item"),
    "carry": gettext_lazy("Carry"),
    "never_below": gettext_lazy("Minimum"),
    "matters": gettext_lazy("Priority"),
    "reason": gettext_lazy("Reason"),
    "responsible": gettext_lazy("Responsible (a name under People)"),
    "place": gettext_lazy("Shelf or kit"),
    "units": gettext_lazy("How many"),
    "number": gettext_lazy("LOT, or serial number"),
    "expiry": gettext_lazy("Use by, as printed"),
}
WORDS: dict[str, str | Promise] = {
    Kind.CONSUMABLE: pgettext_lazy("kind of thing", "consumable"),
    Kind.MEDICINE: pgettext_lazy("kind of thing", "medicine"),
    Kind.INSTRUMENT: pgettext_lazy("kind of thing", "instrument"),
    Kind.TOOL: pgettext_lazy("kind of thing", "tool"),
    Kind.DOCUMENT: pgettext_lazy("kind of thing", "document"),
    Criticality.ROUTINE: gettext_lazy("routine"),
    Criticality.IMPORTANT: gettext_lazy("important"),
    Criticality.MUST_HAVE: gettext_lazy("must-have"),
    "yes": gettext_lazy("yes"),
    "no": gettext_lazy("no"),
}
_CHOICES = {
    "kind": [kind.value for kind in Kind],
    "matters": [each.value for each in Criticality],
    "needs_date": ["yes", "no"],
    "sterile": ["yes", "no"],
    "by_eye": ["yes", "no"],
}


def words() -> dict[str, str]:
    """The choices as people write them, by code, in the language of now."""
    return {code: str(word) for code, word in WORDS.items()}


def blank() -> bytes:
    """An empty workbook to fill in, with what to write where."""
    book = Workbook()
    first = book.active
    assert first is not None  # a new workbook has one sheet
    first.title = _("Read this first")
    first.column_dimensions["A"].width = 100
    for text in _advice():
        first.append([text])
        first.cell(first.max_row, 1).alignment = Alignment(wrap_text=True, vertical="top")
    for name, columns in COLUMNS.items():
        sheet = book.create_sheet(str(SHEETS[name])[:31])
        sheet.append([str(HEADINGS[column]) for column in columns])
        sheet.freeze_panes = "A2"
        for number, column in enumerate(columns, start=1):
            letter = get_column_letter(number)
            cell = sheet.cell(1, number)
            cell.font, cell.alignment = Font(bold=True), Alignment(wrap_text=True)
            sheet.column_dimensions[letter].width = 34 if column in ("name", "thing") else 18
            if column in ("number", "expiry", "gtin"):  # as text: 05/2027 is no day of May
                sheet.column_dimensions[letter].number_format = "@"
            if column in _CHOICES:
                listed = ",".join(str(WORDS[value]) for value in _CHOICES[column])
                choice = DataValidation(type="list", formula1=f'"{listed}"', allow_blank=True)
                sheet.add_data_validation(choice)
                choice.add(f"{letter}2:{letter}{MOST_ROWS + 1}")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def sheets_of(file: Any) -> Mapping[str, list[list[Any]]]:
    """The rows below each sheet's heading of a workbook that somebody filled in.

    Raises TooLarge, ReadersBusy, and Invalid where it is no workbook or lacks a sheet.
    """
    content = file.read(MOST_BYTES + 1)
    if len(content) > MOST_BYTES:
        raise TooLarge(
            "too-large", _("That file is too large to be the start workbook."),
            limit_bytes=MOST_BYTES,
        )  # fmt: skip
    sheets = len(COLUMNS) + 1
    tables = read_picture.tables(content, sheets=sheets, rows=MOST_ROWS + 2, columns=12)
    if len(tables) != sheets:
        raise Invalid(
            _("The workbook must have the sheets that it came with, in their order. Download a "
              "new one and copy your rows into it."),
            field="workbook",
        )  # fmt: skip
    for name, table in zip(COLUMNS, tables[1:], strict=True):
        if len(table) > MOST_ROWS + 1:
            raise Invalid(
                _("The sheet %(sheet)s has more than %(most)d rows. Send it in two parts.")
                % {"sheet": SHEETS[name], "most": MOST_ROWS},
                field="workbook",
            )
    return {name: table[1:] for name, table in zip(COLUMNS, tables[1:], strict=True)}


def _advice() -> list[str]:
    return [
        _("Fill in what you have, one row an item. Leave a sheet empty where you have nothing "
          "yet. Names that are on record already are skipped, so you can upload the workbook "
          "again."),
        _("Shelves: the names on your shelves, in the order in which you walk along them."),
        _("Items: each kind of item once, by a plain name, counted in the smallest unit that "
          "you hand out. What nobody counts, such as plasters, is loose."),
        _("Kit lists: one row an item in each pouch. Carry is the target; the minimum is what "
          "a kit may not leave without. What a kit carries is for your medical adviser to "
          "decide, who signs the list afterwards."),
        _("Kits: the names on your kits, and the list that each follows."),
        _("What is where: count what is in each kit and on each shelf, batch by batch. Include "
          "what is out of date: you will be told to remove it."),
        _("Dates as printed: 2027-05, 05/2027 or 31.05.2027. A month is good through its last "
          "day."),
        _("This keeps stock and does arithmetic; it is not medical advice. Look at every pack "
          "before use."),
    ]  # fmt: skip
