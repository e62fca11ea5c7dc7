"""The paper sign-out sheet, for when phones are dead."""

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import islice
from typing import BinaryIO

from gearroom.core.rules.sentences import say
from labels.printing.jobs import Job
from labels.printing.painting import one_line, paint_preview_mark
from labels.printing.pdf import GREY, PALE, PdfFile
from labels.rules.layout import (
    A4_MM,
    QUIET_MODULES,
    Cell,
    SignOutKit,
    Symbol,
    module_mm,
    smallest_side_mm,
    typesetting,
)

SIGN_OUT_COLUMNS = (
    (say("Kit"), 54.0),
    (say("Who (name, phone)"), 58.0),
    (say("Trip, due back"), 52.0),
    (say("Out: day, time"), 30.0),
    (say("Seal (out)"), 24.0),
    (say("Back: day, time"), 30.0),
    (say("Seal (back)"), 24.0),
)
"""The columns of the sign-out sheet, from the left, and their width in mm."""

_ROW_MM = 17.5
_AIR_MM = 0.3
_SIGN_OUT_MARGIN_MM = 12.5
_TABLE_TOP_MM = 30.0
_TABLE_HEAD_MM = 6.5


def sign_out_sheet_pdf(
    kits: Sequence[SignOutKit],
    *,
    out: BinaryIO,
    job: Job,
    room: str,
    blank_rows: int = 3,
) -> int:
    """Print the paper sign-out sheet, for when phones are dead, and return its pages.

    A4 across: a row for each kit with its symbol, then at least `blank_rows` empty ones for what
    has no row, up to the end of the page. Symbols stand left and right in turn, so that a camera
    held over one does not see the next.
    """
    width, height = A4_MM[1], A4_MM[0]
    row_mm = max([_ROW_MM, *(_symbol_mm(job, kit) for kit in kits[:1])])
    a_page = int((height - _TABLE_TOP_MM - _TABLE_HEAD_MM - 10.0) / row_mm)
    pages = max(1, -(-(len(kits) + blank_rows) // a_page))
    rows: Iterator[SignOutKit] = iter(kits)
    with job.pdf(out, say("Sign-out sheet, %(room)s", room=room)) as (file, expected):
        for number in range(pages):
            file.begin_page(width, height)
            if job.preview:
                paint_preview_mark(file, width, height, job.typeface, job.preview_mark)
            _paint_sheet_head(file, job, room, number + 1, pages)
            cells: list[tuple[Cell, str]] = []
            for row in range(a_page):
                top = _TABLE_TOP_MM + _TABLE_HEAD_MM + row * row_mm
                cell = Cell(_SIGN_OUT_MARGIN_MM, top, SIGN_OUT_COLUMNS[0][1], row_mm)
                payload = ""
                for kit in islice(rows, 1):
                    symbol = job.symbol(kit.code)
                    payload = symbol.payload
                    _paint_kit(file, job, kit, symbol, cell, right=row % 2 == 1)
                cells.append((cell, payload))
            _paint_grid(file, job, a_page, row_mm)
            file.end_page()
            expected.append(partial(list, cells))
    return pages


def _symbol_mm(job: Job, kit: SignOutKit) -> float:
    """Return the row height that the symbol asks for; a long public address makes it larger."""
    return smallest_side_mm(job.symbol(kit.code).modules_with_quiet) + 2 * _AIR_MM + 0.01


def _paint_sheet_head(file: PdfFile, job: Job, room: str, page: int, pages: int) -> None:
    left = _SIGN_OUT_MARGIN_MM
    right = A4_MM[1] - _SIGN_OUT_MARGIN_MM
    head = job.speak(say("Sign-out sheet: %(room)s", room=room))
    one_line(file, job.typeface, head, left, 15.5, 170.0, 8.0, bold=True)
    number = job.speak(say("page %(page)s of %(pages)s", page=page, pages=pages))
    note = ", ".join(filter(None, (job.organisation, number if pages > 1 else "")))
    one_line(file, job.typeface, note, right - 90.0, 15.5, 90.0, 4.0, at_right=True)
    one_line(
        file,
        job.typeface,
        job.speak(
            say(
                "For use when phones are not working. Write down the actual time. Later: scan "
                "the kit's code, enter each line, then cross it out."
            )
        ),
        left,
        24.0,
        right - left,
        4.0,
    )


def _paint_kit(
    file: PdfFile, job: Job, kit: SignOutKit, symbol: Symbol, cell: Cell, *, right: bool
) -> None:
    module = module_mm(symbol.modules_with_quiet, cell.height_mm - 2 * _AIR_MM)
    side = module * symbol.modules_with_quiet
    left = cell.right_mm - side - 0.3 if right else cell.left_mm + 0.3
    top = cell.top_mm + (cell.height_mm - side) / 2
    quiet = QUIET_MODULES * module
    file.symbol(symbol, left + quiet, top + quiet, module)
    text_left = cell.left_mm + 2.0 if right else left + side
    width = cell.width_mm - side - 2.8
    bold = job.typeface.bold
    name = typesetting.printable(kit.name, bold)
    em, lines = typesetting.fit_lines(name, bold, width_mm=width, largest_mm=5.5, most_lines=2)
    baseline = cell.top_mm + (6.6 if len(lines) == 1 else 5.0)
    for line in lines:
        file.text(text_left, baseline, line, em_mm=em, bold=True)
        baseline += em * 1.1
    one_line(
        file, job.typeface, job.code_text(kit.code), text_left, cell.bottom_mm - 2.6, width, 4.0
    )  # fmt: skip


def _paint_grid(file: PdfFile, job: Job, rows: int, row_mm: float) -> None:
    left = _SIGN_OUT_MARGIN_MM
    right = left + sum(width for _, width in SIGN_OUT_COLUMNS)
    top = _TABLE_TOP_MM
    bottom = top + _TABLE_HEAD_MM + rows * row_mm
    x = left
    for name, width in SIGN_OUT_COLUMNS:
        one_line(
            file, job.typeface, job.speak(name), x + 1.5, top + 4.6, width - 3.0, 3.4, bold=True
        )
        file.line(x, top, x, bottom, grey=GREY)
        x += width
    file.line(right, top, right, bottom, grey=GREY)
    file.line(left, top, right, top, stroke_mm=0.35)
    for row in range(rows + 1):
        y = top + _TABLE_HEAD_MM + row * row_mm
        file.line(left, y, right, y, stroke_mm=0.35 if row in (0, rows) else 0.2)
        if row < rows:  # a pale line to write on, since a row takes two lines of handwriting
            middle = y + row_mm / 2
            file.line(left + SIGN_OUT_COLUMNS[0][1] + 2, middle, right - 2, middle, grey=PALE)
