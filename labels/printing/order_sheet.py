"""Printing an order to a supplier: a table of lines on as many A4 pages as it takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import BinaryIO

from gearroom.core.rules.sentences import Sentence
from labels.printing.jobs import Job
from labels.printing.painting import one_line
from labels.printing.pdf import PALE, PdfFile
from labels.printing.readback import no_symbol
from labels.rules.layout import A4_MM

_MARGIN_MM = 15.0
_TITLE_MM, _TEXT_MM, _REMARK_MM, _STEP_MM = 7.0, 4.0, 3.2, 7.0
_HEAD_MM = 34.0
_COLUMNS = ((0.0, 16.0), (18.0, 84.0), (104.0, 24.0), (130.0, 22.0), (154.0, 26.0))
"""Where columns begin and how wide they are: packs, item, units in a pack, price, cost."""
_AT_RIGHT = (0, 2, 3, 4)

Texts = tuple[str, str, str, str, str]


@dataclass(frozen=True)
class OrderSheet:
    """What stands on it: a title, notes below it, headings of the columns, lines of texts, what it
    comes to, as rows of a text and an amount, and remarks `below` each of the lines, or none."""

    title: str
    notes: Sequence[str]
    headings: Texts
    lines: Sequence[Texts]
    totals: Sequence[tuple[str, str]]
    below: Sequence[Sequence[str]] = ()

    @property
    def rows(self) -> list[Texts | str]:
        """Lines, each with its remarks, then what it comes to."""
        remarks = self.below or [()] * len(self.lines)
        found: list[Texts | str] = []
        for line, below in zip(self.lines, remarks, strict=True):
            found += [line, *below]
        return [*found, *(("", text, "", "", amount) for text, amount in self.totals)]


def order_sheet_pdf(of: OrderSheet, *, out: BinaryIO, job: Job) -> int:
    """Print an order and return its pages."""
    width, height = A4_MM
    rows = of.rows
    most = int((height - _MARGIN_MM - _HEAD_MM - 2 * _STEP_MM) // _STEP_MM)
    pages = [rows[at : at + most] for at in range(0, len(rows), most)] or [[]]
    with job.pdf(out, Sentence("%(title)s", {"title": of.title})) as (file, expected):
        for number, on_page in enumerate(pages, start=1):
            file.begin_page(width, height)
            _paint_head(file, job, of, f"{number} / {len(pages)}" if len(pages) > 1 else "")
            for at, row in enumerate(on_page):
                baseline_mm = _HEAD_MM + (at + 2) * _STEP_MM
                if isinstance(row, str):
                    _paint_remark(file, job, row, baseline_mm)
                else:
                    _paint_row(file, job, row, baseline_mm)
            file.end_page()
            expected.append(partial(no_symbol, width, height))
    return len(pages)


def _paint_head(file: PdfFile, job: Job, of: OrderSheet, page: str) -> None:
    across = A4_MM[0] - 2 * _MARGIN_MM
    title_at = _MARGIN_MM + _TITLE_MM * 0.7
    one_line(
        file, job.typeface, of.title, _MARGIN_MM, title_at, across * 0.85, _TITLE_MM, bold=True
    )
    if page:
        left = _MARGIN_MM + across * 0.87
        one_line(file, job.typeface, page, left, title_at, across * 0.13, _TEXT_MM, at_right=True)
    for number, note in enumerate(of.notes, start=1):
        at = title_at + number * _TEXT_MM * 1.4
        one_line(file, job.typeface, note, _MARGIN_MM, at, across, _TEXT_MM)
    _paint_row(file, job, of.headings, _HEAD_MM + _STEP_MM, bold=True)


def _paint_row(
    file: PdfFile, job: Job, texts: Texts, baseline_mm: float, *, bold: bool = False
) -> None:
    for at, (text, (left, width)) in enumerate(zip(texts, _COLUMNS, strict=True)):
        if text:
            one_line(
                file, job.typeface, text, _MARGIN_MM + left, baseline_mm, width, _TEXT_MM,
                bold=bold, at_right=at in _AT_RIGHT,
            )  # fmt: skip
    below = baseline_mm + 2.0
    file.line(_MARGIN_MM, below, A4_MM[0] - _MARGIN_MM, below, stroke_mm=0.2, grey=PALE)


def _paint_remark(file: PdfFile, job: Job, text: str, baseline_mm: float) -> None:
    left, width = _COLUMNS[1][0], A4_MM[0] - 2 * _MARGIN_MM - _COLUMNS[1][0]
    at = baseline_mm - _REMARK_MM * 0.3
    one_line(file, job.typeface, text, _MARGIN_MM + left, at, width, _REMARK_MM)
