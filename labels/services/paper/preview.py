"""How a sheet will look, before it is printed."""

import io
from collections.abc import Sequence

from gearroom.core.acts import Act
from kits.models import Label
from labels import printing
from labels.rules.layout import Offset
from labels.services.paper import paper, sheets

SCREEN_DPI = 96
"""Pixels an inch as CSS has them, so that a picture of the page is as large as the page."""


def first_page(
    act: Act,
    labels: Sequence[Label],
    on: sheets.StoredSheet,
    *,
    start_cell: int = 1,
    copies: int = 1,
    offset: Offset | None = None,
    names_room: bool = True,
) -> bytes:
    """The first page of labels on a sheet, as PNG at 96 dpi, marked as a preview.

    Raises what `paper.print_sheet` does.
    """
    room_on_it = max(on.sheet.cells - start_cell + 1, 1)
    pdf = paper.print_sheet(
        act,
        labels[: -(-room_on_it // max(copies, 1))],
        on,
        start_cell=start_cell,
        copies=copies,
        offset=offset,
        preview=True,
        names_room=names_room,
    )
    return printing.page_png(io.BytesIO(pdf), 1, SCREEN_DPI)


def pages(labels: int, on: sheets.StoredSheet, *, start_cell: int = 1, copies: int = 1) -> int:
    """How many pages so many labels take on a sheet."""
    return -(-(labels * copies + start_cell - 1) // on.sheet.cells)
