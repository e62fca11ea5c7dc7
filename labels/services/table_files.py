"""The cells of a table's file that somebody sends, a workbook or text. A workbook is read in a
process apart, as every file from strangers is that has to be taken to pieces."""

from django.utils.translation import gettext as _

from gearroom.core.acts import TooLarge
from kits.rules.exchange import texts
from kits.rules.exchange.values import Cell
from kits.services.exchange import importing
from kits.services.exchange.table import Table
from labels.services.scan import read_picture

_ARCHIVE = b"PK\x03\x04"
_SHEETS = 5
"""The table is the first; people keep their own notes on others."""


def cells_of(content: bytes, table: Table) -> list[list[Cell]]:
    """The cells of a file, rows in order, the headings first. Raises TooLarge, Invalid,
    ReadersBusy."""
    if len(content) > importing.MOST_BYTES:
        raise TooLarge(
            "too-large",
            _("The file is too large: at most %(most)s megabytes. Split it in two.")
            % {"most": importing.MOST_BYTES // 1024**2},
            limit_bytes=importing.MOST_BYTES,
        )
    if not content.startswith(_ARCHIVE):
        return importing.cells_of(content, table)
    sheets = read_picture.tables(
        content, sheets=_SHEETS, rows=texts.MOST_ROWS + 2, columns=texts.MOST_COLUMNS, field="file"
    )
    return [list(row) for row in sheets[0]]
