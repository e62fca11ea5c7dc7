"""Printing the wall calendar: A3, A4 or Letter, lying across."""

from functools import partial
from typing import BinaryIO

from gearroom.core.rules.sentences import Sentence, say
from labels.printing.jobs import Job
from labels.printing.painting import one_line
from labels.printing.pdf import GREY, PALE, PdfFile
from labels.printing.readback import no_symbol
from labels.rules.layout import LEADING, typesetting
from labels.rules.layout.wall_calendar import (
    MARGIN_MM,
    CalendarRow,
    Paper,
    WallCalendar,
    place,
)

_NOTE_MM = {True: 3.4, False: 2.8}
"""The type of the sentences above and below the grid, on large paper and on small."""


def wall_calendar_pdf(of: WallCalendar, *, out: BinaryIO, job: Job, paper: Paper) -> int:
    """Print a wall calendar and return its sheets."""
    note_mm = _NOTE_MM[paper.height_mm > 250]
    above, below = (_wrapped(texts, job, paper, note_mm) for texts in (of.above, of.below))
    top = MARGIN_MM + paper.title_mm + len(above) * note_mm * LEADING + 3.0
    bottom = paper.height_mm - MARGIN_MM - len(below) * note_mm * LEADING - 1.5
    placed = place(of, paper, job.typeface, top_mm=top, bottom_mm=bottom, speak=job.speak)
    with job.pdf(out, Sentence("%(title)s", {"title": of.title})) as (file, expected):
        for number in range(placed.pages):
            file.begin_page(paper.width_mm, paper.height_mm)
            _paint_head(file, job, of, paper, number + 1, placed.pages)
            _paint_notes(file, above, MARGIN_MM + paper.title_mm + note_mm, note_mm)
            _paint_notes(file, below, bottom + 1.5 + note_mm, note_mm)
            if number == 0:
                for cell in placed.cells:
                    file.frame(cell.left_mm, cell.top_mm, cell.width_mm, cell.height_mm, grey=GREY)
            for row in placed.rows:
                if row.page == number:
                    _paint_row(file, job, row)
            file.end_page()
            expected.append(partial(no_symbol, paper.width_mm, paper.height_mm))
    return placed.pages


def _wrapped(texts: tuple[str, ...], job: Job, paper: Paper, em_mm: float) -> list[str]:
    face = job.typeface.regular
    width = (paper.width_mm - 2 * MARGIN_MM) / em_mm
    text = typesetting.printable(" ".join(texts), face)
    return typesetting.wrap(text, face, width, breaking=True) or []


def _paint_head(
    file: PdfFile, job: Job, of: WallCalendar, paper: Paper, page: int, pages: int
) -> None:
    baseline = MARGIN_MM + paper.title_mm * 0.8
    width = paper.width_mm - 2 * MARGIN_MM
    one_line(
        file, job.typeface, of.title, MARGIN_MM, baseline, width * 0.64, paper.title_mm, bold=True
    )
    sheet = job.speak(say("sheet %(page)s of %(pages)s", page=page, pages=pages))
    note = ", ".join(filter(None, (of.as_of, sheet if pages > 1 else "")))
    one_line(
        file,
        job.typeface,
        note,
        MARGIN_MM + width * 0.66,
        baseline,
        width * 0.34,
        paper.title_mm * 0.75,
        bold=True,
        at_right=True,
    )


def _paint_notes(file: PdfFile, lines: list[str], baseline_mm: float, em_mm: float) -> None:
    for number, line in enumerate(lines):
        file.text(MARGIN_MM, baseline_mm + number * em_mm * LEADING, line, em_mm=em_mm)


def _paint_row(file: PdfFile, job: Job, row: CalendarRow) -> None:
    em = row.em_mm
    if row.tick:
        file.frame(row.left_mm, row.baseline_mm - em * 0.72, em * 0.78, em * 0.78)
    if row.day:
        width = job.typeface.face(row.bold).width(row.day) * em
        left = row.text_left_mm - em * 0.6 - width
        file.text(left, row.baseline_mm, row.day, em_mm=em, bold=row.bold)
    file.text(row.text_left_mm, row.baseline_mm, row.text, em_mm=em, bold=row.bold)
    if row.rule:
        below = row.baseline_mm + em * 0.35
        file.line(row.left_mm, below, row.right_mm, below, stroke_mm=0.25, grey=PALE)
