"""Sheets and rolls of labels as PDF."""

from collections.abc import Iterable
from functools import partial
from itertools import chain, islice, repeat
from typing import BinaryIO

from gearroom.core.rules.sentences import say
from labels.printing.jobs import Job
from labels.printing.painting import paint, paint_cutting_marks, paint_preview_mark
from labels.printing.readback import Expected
from labels.rules.layout import Cell, Label, Offset, Order, Sheet, Space, checked, ordered

MOST_COPIES = 100


def sheet_pdf(
    sheet: Sheet,
    labels: Iterable[Label],
    *,
    out: BinaryIO,
    job: Job,
    start_cell: int = 1,
    copies: int = 1,
    order: Order = "as-given",
    offset: Offset | None = None,
) -> int:
    """Print `labels` on `sheet` into `out` as PDF, and return how many labels were printed.

    The first page starts at `start_cell` (1 is top left), so that a begun sheet is used up;
    `copies` of a label follow one another. Memory does not grow with the number of labels, unless
    `order` asks for sorting. Every symbol is read back before a byte is written to `out`.

    Raises SheetError, CellTooSmall (with the size that would do), ReadBackFailed, ValueError for
    a code that is none or for no labels at all.
    """
    checked(sheet)
    sheet.cell(start_cell)
    if not 1 <= copies <= MOST_COPIES:
        raise ValueError(f"Print between 1 and {MOST_COPIES} copies.")
    offset = offset or Offset()
    space = Space.of(sheet)
    queue = chain.from_iterable(repeat(label, copies) for label in ordered(labels, order))
    printed = 0
    with job.pdf(out, say("Labels, %(sheet)s", sheet=sheet.called)) as (file, expected):
        while page := list(islice(queue, sheet.cells - start_cell + 1)):
            file.begin_page(sheet.page_width_mm, sheet.page_height_mm)
            file.transform(offset.scale_x, offset.scale_y, offset.dx_mm, offset.dy_mm)
            if job.preview:
                paint_preview_mark(
                    file, sheet.page_width_mm, sheet.page_height_mm, job.typeface, job.preview_mark
                )
            if sheet.cut:
                paint_cutting_marks(file, sheet)
            for number, label in enumerate(page, start=start_cell):
                paint(file, job.lay_out(label, space), sheet.cell(number))
            file.end_page()
            codes = " ".join(label.code for label in page)
            expected.append(partial(_expectation, job, sheet, offset, start_cell, codes))
            printed += len(page)
            start_cell = 1
        if not printed:
            raise ValueError("There is nothing to print: choose at least one label.")
    return printed


def _expectation(job: Job, sheet: Sheet, offset: Offset, first: int, codes: str) -> Expected:
    """Say what every cell of the page must read, the empty ones too."""
    code_at = dict(enumerate(codes.split(), start=first))
    return [
        (
            _moved(sheet.cell(number), offset),
            job.payload(code_at[number]) if number in code_at else "",
        )
        for number in range(1, sheet.cells + 1)
    ]


def _moved(cell: Cell, offset: Offset) -> Cell:
    return Cell(
        cell.left_mm * offset.scale_x + offset.dx_mm,
        cell.top_mm * offset.scale_y + offset.dy_mm,
        cell.width_mm * offset.scale_x,
        cell.height_mm * offset.scale_y,
    )
