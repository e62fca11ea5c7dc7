"""From the bytes of a text file to rows of cells: in whatever encoding and with whatever separator
spreadsheets write it."""

import csv
import io
from collections.abc import Sequence

from gearroom.core.rules.sentences import InvalidValue, say

SEPARATORS = ",;\t"
MOST_ROWS = 20_000
"""Rows of a file below its headings."""
MOST_COLUMNS = 60
MOST_CHARACTERS = 1000
"""Of one cell."""

_MOST_HEADINGS = 100_000
"""Characters of the first row: less than a cell may have before its reader refuses it."""


def decoded(content: bytes) -> str:
    """The text of a file: UTF-8, UTF-16 where a mark says so or every other byte is empty, else
    Windows-1252. Raises InvalidValue where it is no text."""
    encodings: tuple[str, ...] = ("utf-8-sig", "cp1252")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ("utf-16",)
    elif b"\0" in content[:200]:
        encodings = ("utf-16-le",) if content[1:2] == b"\0" else ("utf-16-be",)
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text.removeprefix("\ufeff")
    raise InvalidValue(
        say("This file is not a table. Save it as CSV or .xlsx and choose that file.")
    )


def rows_of(text: str, headings: Sequence[str]) -> list[list[str]]:
    """The rows of a text, by the separator by which its first row has most of the headings. Raises
    InvalidValue."""
    first = text.lstrip("\r\n").splitlines()[:1]
    separator = max(SEPARATORS, key=lambda each: _known(first, each, headings))
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        return [row for row in rows if any(cell.strip() for cell in row)]
    except csv.Error:
        raise InvalidValue(
            say(
                "The quotation marks in this file do not match. Save the table as CSV again and "
                "choose that file."
            )
        ) from None


def _known(first: Sequence[str], separator: str, headings: Sequence[str]) -> int:
    cells = next(csv.reader([line[:_MOST_HEADINGS] for line in first], delimiter=separator), [])
    known = {heading.casefold() for heading in headings}
    return sum(cell.strip().casefold() in known for cell in cells)


def require_bounds(rows: Sequence[Sequence[object]]) -> None:
    """Raise InvalidValue for more rows, columns or text than are read at once."""
    if len(rows) > MOST_ROWS + 1:
        raise InvalidValue(
            say("The file has more than %(most)s rows. Split it in two.", most=MOST_ROWS)
        )
    for number, row in enumerate(rows, start=1):
        if len(row) > MOST_COLUMNS:
            raise InvalidValue(
                say("Row %(row)s has more than %(most)s cells.", row=number, most=MOST_COLUMNS)
            )
        if any(isinstance(cell, str) and len(cell) > MOST_CHARACTERS for cell in row):
            raise InvalidValue(
                say(
                    "Row %(row)s: a cell has more than %(most)s characters. Shorten it.",
                    row=number,
                    most=MOST_CHARACTERS,
                )
            )
