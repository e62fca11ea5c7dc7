"""The test page: where a printer puts marks, measured with a ruler against a sheet of labels."""

from typing import BinaryIO

from gearroom.core.rules.sentences import Sentence, say
from labels.printing.jobs import Job
from labels.printing.painting import one_line
from labels.printing.pdf import GREY, PALE, PdfFile
from labels.rules.layout import Marks, Offset, Sheet, checked, marks

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
