"""Printing a page of headed parts on one A4: as large as all of it fits, in two columns."""

from collections.abc import Sequence
from functools import partial
from typing import BinaryIO

from gearroom.core.rules.sentences import Sentence, say
from labels.printing.cards import paint_rows
from labels.printing.jobs import Job
from labels.printing.painting import one_line
from labels.printing.pdf import PdfFile
from labels.printing.readback import no_symbol
from labels.rules.layout import A4_MM, LEADING, Column, Row, flow, typesetting
from labels.rules.layout.cards import ListEntry

_MARGIN_MM = 14.0
_GAP_MM = 7.0
_TITLE_MM = 7.5
_NOTE_MM = 3.2
_LARGEST_MM = 4.0
_MOST_LINES = 40
_LEAD_EM = 1.0
_STEPS = 20

Parts = Sequence[tuple[str, Sequence[str]]]
"""Headings, each with the lines below it."""


def one_page_pdf(
    title: str, note: str, caution: str, parts: Parts, *, out: BinaryIO, job: Job
) -> None:
    """Print one page. What does not fit is counted in its part, and the page on the screen has
    it."""
    width, height = A4_MM
    face = job.typeface.regular
    foot = (
        typesetting.wrap(
            typesetting.printable(caution, face),
            face,
            (width - 2 * _MARGIN_MM) / _NOTE_MM,
            breaking=True,
        )
        or []
    )
    bottom = height - _MARGIN_MM - len(foot) * _NOTE_MM * LEADING - 2
    rows = _fitted(parts, job, _MARGIN_MM + _TITLE_MM + 9, bottom)
    with job.pdf(out, Sentence("%(title)s", {"title": title})) as (file, expected):
        file.begin_page(width, height)
        across = width - 2 * _MARGIN_MM
        one_line(
            file, job.typeface, title, _MARGIN_MM, _MARGIN_MM + _TITLE_MM * 0.7, across,
            _TITLE_MM, bold=True,
        )  # fmt: skip
        head = ", ".join(filter(None, (note, job.organisation)))
        one_line(file, job.typeface, head, _MARGIN_MM, _MARGIN_MM + _TITLE_MM + 3.5, across, 4.0)
        paint_rows(file, rows, job)
        _paint_foot(file, foot, bottom)
        file.end_page()
        expected.append(partial(no_symbol, width, height))


def _paint_foot(file: PdfFile, lines: Sequence[str], bottom_mm: float) -> None:
    file.line(_MARGIN_MM, bottom_mm + 1, A4_MM[0] - _MARGIN_MM, bottom_mm + 1, stroke_mm=0.25)
    for number, line in enumerate(lines, start=1):
        file.text(_MARGIN_MM, bottom_mm + 1.5 + number * _NOTE_MM * LEADING, line, em_mm=_NOTE_MM)


def _fitted(parts: Parts, job: Job, top_mm: float, bottom_mm: float) -> Sequence[Row]:
    """The rows in the largest type in which they fit, with as many lines a part as fit then; both
    columns about as long as each other."""
    high = bottom_mm - top_mm
    smallest = job.typeface.regular.smallest_mm
    for most in range(_MOST_LINES, 0, -1):
        lines = _entries(parts, most, job)
        em = _LARGEST_MM if most == _MOST_LINES else smallest
        while (rows := _flow(lines, job, em, top_mm, high)) is None and em > smallest:
            em = max(smallest, em * 0.95)
        if rows is None:
            continue
        for n in range(1, _STEPS // 2):
            shorter = _flow(lines, job, em, top_mm, high * (1 - n / _STEPS))
            rows = shorter or rows
            if shorter is None:
                break
        return rows
    return ()


def _flow(
    lines: Sequence[ListEntry], job: Job, em_mm: float, top_mm: float, high_mm: float
) -> Sequence[Row] | None:
    width = (A4_MM[0] - 2 * _MARGIN_MM - _GAP_MM) / 2
    columns = [
        Column(0, _MARGIN_MM + x * (width + _GAP_MM), top_mm, width, high_mm) for x in range(2)
    ]
    return flow(lines, columns, job.typeface, em_mm, job.speak, _LEAD_EM)


def _entries(parts: Parts, most: int, job: Job) -> list[ListEntry]:
    entries = []
    for heading, lines in parts:
        entries.append(ListEntry(heading, heading=True))
        entries += [ListEntry(line, "–") for line in lines[:most]]
        if more := len(lines) - most if len(lines) > most else 0:
            entries.append(ListEntry(job.speak(say("%(n)s more: see the page", n=more)), "+"))
    return entries
