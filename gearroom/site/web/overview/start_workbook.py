"""The start workbook as a file (Office Open XML, ISO/IEC 29500): written empty in the language of
whoever asks, and read back as plain cells for `kits.rules.overview.workbook`."""

import io
from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, pgettext_lazy

from gearroom.core.acts import Invalid, TooLarge
from kits.rules.ledger.facts import Criticality, Kind
from kits.rules.overview.workbook import COLUMNS, MOST_ROWS
from labels.services.scan import read_picture

MOST_BYTES = 2 * 1024 * 1024
"""A workbook of a school is some tens of kilobytes; more is not one."""

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

SHEETS: dict[str, str | Promise] = {
    "shelves": _lazy("Shelves"),
    "things": _lazy("Items"),
    "lists": _lazy("Kit lists"),
    "kits": _lazy("Kits"),
    "where": _lazy("Contents"),
}
HEADINGS: dict[str, str | Promise] = {
    "name": _lazy("Name"),
    "kind": _lazy("Kind"),
    "base_unit": _lazy("Counted in (piece, pair, tablet …)"),
    "needs_date": _lazy("Needs an expiry date"),
    "sterile": _lazy("Sterile"),
    "by_eye": _lazy("Loose, not counted"),
    "check_every_days": _lazy("Days between checks (instruments)"),
    "check_question": _lazy("Check question"),
    "gtin": _lazy("Number under the maker’s barcode (GTIN)"),
    "units_per_pack": _lazy("Units in a pack with that number"),
    "list": _lazy("Kit list"),
    "people": _lazy("Number of people"),
    "days": _lazy("Number of days"),
    "section": _lazy("Pouch"),
    "thing": _lazy("Item"),
    "carry": _lazy("Carry"),
    "never_below": _lazy("Minimum"),
    "matters": _lazy("Priority"),
    "reason": _lazy("Reason"),
    "responsible": _lazy("Person responsible (a name under People)"),
    "place": _lazy("Shelf or kit"),
    "units": _lazy("How many"),
    "number": _lazy("LOT or serial number"),
    "expiry": _lazy("Expiry date, as printed"),
}
WORDS: dict[str, str | Promise] = {
    Kind.CONSUMABLE: pgettext_lazy("kind of thing", "consumable"),
    Kind.MEDICINE: pgettext_lazy("kind of thing", "medicine"),
    Kind.INSTRUMENT: pgettext_lazy("kind of thing", "instrument"),
    Kind.TOOL: pgettext_lazy("kind of thing", "tool"),
    Kind.DOCUMENT: pgettext_lazy("kind of thing", "document"),
    Criticality.ROUTINE: _lazy("routine"),
    Criticality.IMPORTANT: _lazy("important"),
    Criticality.MUST_HAVE: _lazy("must-have"),
    "yes": _lazy("yes"),
    "no": _lazy("no"),
}
_CHOICES = {
    "kind": [kind.value for kind in Kind],
    "matters": [each.value for each in Criticality],
    "needs_date": ["yes", "no"],
    "sterile": ["yes", "no"],
    "by_eye": ["yes", "no"],
}


_ADVICE = (
    _lazy("Fill in what you have, one row per item. Leave a sheet empty if you have nothing for "
          "it yet. Names already on record are skipped, so you can upload the spreadsheet again."),
    _lazy("Shelves: the names of your shelves, in the order in which you walk past them."),
    _lazy("Items: each kind of item once, with a plain name, counted in the smallest unit that "
          "you hand out. Items that nobody counts, such as plasters, are loose."),
    _lazy("Kit lists: one row per item in each pouch. “Carry” is the target number; a kit must "
          "not be taken out with less than the minimum. Your medical adviser decides what a "
          "kit contains and signs the list afterwards."),
    _lazy("Kits: the names of your kits, and the kit list for each."),
    _lazy("Contents: count what is in each kit and on each shelf, batch by batch. Include "
          "anything out of date: you will be asked to remove it."),
    _lazy("Enter dates as printed: 2027-05, 05/2027 or 31.05.2027. A date without a day is "
          "good until the last day of that month."),
    _lazy("This program keeps track of stock and does the arithmetic; it does not give medical "
          "advice. Look at every pack before use."),
)  # fmt: skip
"""What to write where."""


def words() -> dict[str, str]:
    """The choices as people write them, by code, in the language of now."""
    return {code: str(word) for code, word in WORDS.items()}


def blank() -> bytes:
    """An empty workbook to fill in, with what to write where."""
    # Every process that serves pages would load these, and most write no workbook.
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    book = Workbook()
    (first,) = book.worksheets  # a new workbook has one sheet
    first.title = _("Read this first")
    first.column_dimensions["A"].width = 100
    for text in _ADVICE:
        first.append([str(text)])
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
            "too-large", _("This file is too large to use as the starter spreadsheet."),
            limit_bytes=MOST_BYTES,
        )  # fmt: skip
    sheets = len(COLUMNS) + 1
    tables = read_picture.tables(content, sheets=sheets, rows=MOST_ROWS + 2, columns=12)
    if len(tables) != sheets:
        raise Invalid(
            _("The spreadsheet must have its original sheets in their original order. Download a "
              "new one and copy your rows into it."),
            field="workbook",
        )  # fmt: skip
    for name, table in zip(COLUMNS, tables[1:], strict=True):
        if len(table) > MOST_ROWS + 1:
            raise Invalid(
                _(
                    "The sheet %(sheet)s has more than %(most)d rows. Split it between two "
                    "spreadsheets."
                )
                % {"sheet": SHEETS[name], "most": MOST_ROWS},
                field="workbook",
            )
    return {name: table[1:] for name, table in zip(COLUMNS, tables[1:], strict=True)}
