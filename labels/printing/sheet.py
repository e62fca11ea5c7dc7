"""Sheets and rolls of labels as PDF; and the test page: where a printer puts marks, measured with a
ruler against a sheet of labels."""

from collections.abc import Iterable
from functools import partial
from itertools import chain, islice, repeat
from typing import BinaryIO

from gearroom.core.rules.sentences import Sentence, say
from labels.printing.jobs import Job
from labels.printing.painting import one_line, paint, paint_cutting_marks, paint_preview_mark
from labels.printing.pdf import GREY, PALE, PdfFile
from labels.printing.readback import Expected
from labels.rules.layout import (
    Cell,
    Label,
    Marks,
    Offset,
    Order,
    Sheet,
    Space,
    checked,
    marks,
    ordered,
)

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


# ------------------------------------------------------------------------------------ the test page
_STEPS = (
    say("1. Print this page on plain paper at 100%%, not “fit to page”."),
    say("2. Hold it over a sheet of labels against the light: do the outlines match the labels?"),
    say("3. If not, measure in millimetres: from the left edge of the paper to the cross,"),
    say("    from the top edge to the cross, and the whole length of both rulers."),
    say("4. Enter the four numbers, and print this page again."),
)


def calibration_page_pdf(
    sheet: Sheet, *, out: BinaryIO, job: Job, offset: Offset | None = None
) -> Marks:
    """Print the test page of `sheet` into `out`; return what the cross and rulers are meant to be.

    It shows every cell's outline and number, a cross, and two rulers that begin at it. With
    `offset` it shows whether the correction is right.
    """
    checked(sheet)
    offset = offset or Offset()
    targets = marks(sheet)
    with job.pdf(out, say("Test page, %(sheet)s", sheet=sheet.called)) as (file, expected):
        file.begin_page(sheet.page_width_mm, sheet.page_height_mm)
        file.transform(offset.scale_x, offset.scale_y, offset.dx_mm, offset.dy_mm)
        for number in range(1, sheet.cells + 1):
            cell = sheet.cell(number)
            file.frame(cell.left_mm, cell.top_mm, cell.width_mm, cell.height_mm, grey=PALE)
            if sheet.cells > 1:
                file.text(
                    cell.right_mm - 6.0, cell.bottom_mm - 2.0, str(number), em_mm=3.0, grey=GREY
                )
        _paint_rulers(file, targets)
        if not sheet.roll:
            _paint_words(file, job, sheet, targets, offset)
        file.end_page()
        expected.append(list)
    return targets


def _paint_rulers(file: PdfFile, targets: Marks) -> None:
    x = y = targets.cross_mm
    arm = min(6.0, x - 1.0)
    file.circle(x, y, arm / 2)
    file.line(x - arm, y, x + targets.across_mm, y, stroke_mm=0.35)
    file.line(x, y - arm, x, y + targets.down_mm, stroke_mm=0.35)
    for millimetre in range(1, int(targets.across_mm) + 1):
        file.line(x + millimetre, y, x + millimetre, y + _tick(millimetre), stroke_mm=0.12)
        if millimetre % 10 == 0:
            file.text(x + millimetre - 2.0, y + 6.6, str(millimetre), em_mm=2.6, bold=True)
    for millimetre in range(1, int(targets.down_mm) + 1):
        file.line(x, y + millimetre, x + _tick(millimetre), y + millimetre, stroke_mm=0.12)
        if millimetre % 10 == 0:
            file.text(x + 4.6, y + millimetre + 0.9, str(millimetre), em_mm=2.6, bold=True)


def _tick(millimetre: int) -> float:
    if millimetre % 10 == 0:
        return 4.0
    return 3.0 if millimetre % 5 == 0 else 1.8


def _paint_words(file: PdfFile, job: Job, sheet: Sheet, targets: Marks, offset: Offset) -> None:
    left, top, width = targets.cross_mm + 14.0, targets.cross_mm + 18.0, sheet.page_width_mm - 50.0
    lines = [
        say(
            "Target: cross %(cross)s mm from both edges; rulers %(across)s mm across and "
            "%(down)s mm down.",
            cross=float(targets.cross_mm),
            across=float(targets.across_mm),
            down=float(targets.down_mm),
        ),
        say(
            "Printed with this correction: %(across)s mm across, %(down)s mm down, scale "
            "%(scale_x)s × %(scale_y)s.",
            across=_signed(offset.dx_mm),
            down=_signed(offset.dy_mm),
            scale_x=float(offset.scale_x),
            scale_y=float(offset.scale_y),
        ),
    ]
    file.rectangle(left - 3, top - 9, width + 6, 56.0, grey=1.0)
    file.frame(left - 3, top - 9, width + 6, 56.0)
    head = job.speak(say("Test page: %(sheet)s", sheet=sheet.called))
    one_line(file, job.typeface, head, left, top, width, 7.0, bold=True)
    top += 8.0
    for text in (*_STEPS, *lines):
        one_line(file, job.typeface, job.speak(text), left, top, width, 4.0)
        top += 5.6


def _signed(length_mm: float) -> Sentence | float:
    return say("+%(length)s", length=float(length_mm)) if length_mm >= 0 else float(length_mm)
