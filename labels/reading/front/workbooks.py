"""From a workbook's bytes (Office Open XML, ISO/IEC 29500) to plain cells, within bounds.

What a file costs is bounded before any of it is parsed: how many parts it has and how large they
are unpacked (the archive is never unpacked further than it says), how many sheets it names, and
that no sheet is named twice. What is left over is the reader process's own bounds.
"""

import io
import warnings
import zipfile
from datetime import datetime, time
from typing import Any

from openpyxl.reader.excel import ExcelReader

from gearroom.core.rules.sentences import say
from labels.reading.front.errors import TOO_MUCH, BrokenWorkbook, WorkbookError, WorkbookTooLarge

MOST_PARTS = 100
MOST_UNPACKED_BYTES = 40 * 1024 * 1024
MOST_PART_BYTES = 4 * 1024 * 1024
"""Of a part that is no sheet: texts, styles, names; they are taken in whole."""
MOST_TAGS = 1_000_000
"""Of all parts together; a sheet of ours that is full has a hundred thousand."""
MOST_CELL_CHARACTERS = 1000
MOST_CHARACTERS = 2 * 1024 * 1024
"""Of all cells together: a text that stands once in the file may be in a hundred thousand."""

Cell = str | int | float | None

NO_WORKBOOK = say("This spreadsheet cannot be read. Save it as .xlsx and choose that file.")


def tables(content: bytes, *, sheets: int, rows: int, columns: int) -> list[list[list[Cell]]]:
    """The cells of each sheet in order, at most `rows` × `columns` of it; a day is 2027-05-31,
    with a time 2027-05-31 08:30.

    Raises BrokenWorkbook, WorkbookTooLarge (more than `sheets` sheets for one), and
    MemoryError.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            _require_bounds(content)
            reader = _Reader(content, most_sheets=sheets)
            reader.read()
            read = [_table(sheet, rows, columns) for sheet in reader.wb.worksheets]
    except (WorkbookError, MemoryError):
        raise
    except Exception as error:  # openpyxl raises many kinds for what is no workbook
        if isinstance(error.__cause__, WorkbookError):  # ours, which it takes for one of its own
            raise error.__cause__ from None
        raise BrokenWorkbook(NO_WORKBOOK) from error
    _require_short(read)
    return read


def _require_bounds(content: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = packed.infolist()
        _require_few(parts)
        if sum(_tags(packed, part) for part in parts) > MOST_TAGS:
            raise WorkbookTooLarge(TOO_MUCH)


def _require_few(parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
        raise WorkbookTooLarge(TOO_MUCH)
    for part in parts:
        is_sheet = part.filename.lower().startswith("xl/worksheets/")
        if part.file_size > MOST_PART_BYTES and not is_sheet:
            raise WorkbookTooLarge(TOO_MUCH)
        if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BrokenWorkbook(NO_WORKBOOK)
    if len({part.filename.lower() for part in parts}) < len(parts):
        raise BrokenWorkbook(NO_WORKBOOK)


def _tags(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> int:
    with packed.open(part) as unpacked:
        return sum(block.count(b"<") for block in iter(lambda: unpacked.read(1 << 20), b""))


class _Reader(ExcelReader):  # type: ignore[misc]  # openpyxl has no types
    """Knows how many sheets a workbook names before it opens one."""

    def __init__(self, content: bytes, *, most_sheets: int) -> None:
        super().__init__(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
        self.most_sheets = most_sheets

    def read_worksheets(self) -> None:
        """Open the sheets, each a part of its own."""
        if len(self.parser.sheets) > self.most_sheets:
            raise WorkbookTooLarge(
                say(
                    "The spreadsheet has more than %(most)s sheets. Start a new one and copy your "
                    "rows into it.",
                    most=self.most_sheets,
                )
            )
        targets = [rel.target for _sheet, rel in self.parser.find_sheets()]
        if len(set(targets)) < len(targets):
            raise BrokenWorkbook(NO_WORKBOOK)
        super().read_worksheets()


def _table(sheet: Any, rows: int, columns: int) -> list[list[Cell]]:
    lines = sheet.iter_rows(max_row=rows, max_col=columns, values_only=True)
    return [[_plain(value) for value in line] for line in lines]


def _plain(value: Any) -> Cell:
    if isinstance(value, datetime):
        has_time = value.time() != time()
        return value.isoformat(" ", "minutes") if has_time else value.date().isoformat()
    if value is None or isinstance(value, str | float):
        return value
    return value if type(value) is int and abs(value) < 2**53 else str(value)


def _require_short(read: list[list[list[Cell]]]) -> None:
    """Refuse a text that no cell of ours holds, and more of them than people write."""
    whole = 0
    for number, table in enumerate(read, start=1):
        for row, cells in enumerate(table, start=1):
            lengths = [len(cell) for cell in cells if isinstance(cell, str)]
            whole += sum(lengths)
            if max(lengths, default=0) > MOST_CELL_CHARACTERS:
                raise WorkbookTooLarge(
                    say(
                        "Sheet %(sheet)s, row %(row)s: a cell contains more than %(most)s "
                        "characters. Shorten it.",
                        sheet=number,
                        row=row,
                        most=MOST_CELL_CHARACTERS,
                    )
                )
    if whole > MOST_CHARACTERS:
        raise WorkbookTooLarge(
            say(
                "The spreadsheet contains too much text to load at once. Split it in two and "
                "send each part separately."
            )
        )
