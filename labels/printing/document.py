"""Printing a document: headed parts of paragraphs and tables, on as many A4 pages as they take."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import BinaryIO

from gearroom.core.rules.sentences import Sentence
from labels.printing.jobs import Job
from labels.printing.painting import one_line
from labels.printing.pdf import PALE, PdfFile
from labels.printing.readback import no_symbol
from labels.rules.layout import A4_MM, LEADING, typesetting

_MARGIN_MM, _GAP_MM = 15.0, 3.0
_TITLE_MM, _HEADING_MM, _TEXT_MM, _SMALL_MM = 7.0, 5.0, 3.6, 3.0
_ACROSS_MM = A4_MM[0] - 2 * _MARGIN_MM


@dataclass(frozen=True)
class Table:
    """A table: its headings (all empty: none), how wide its columns are as shares of the page, and
    its rows."""

    headings: Sequence[str]
    shares: Sequence[float]
    rows: Sequence[Sequence[str]]

    @property
    def columns(self) -> list[tuple[float, float]]:
        """Where each column begins and how wide it is, in millimetres from the margin."""
        free = _ACROSS_MM - _GAP_MM * (len(self.shares) - 1)
        widths = [free * share / sum(self.shares) for share in self.shares]
        return [(sum(widths[:n]) + n * _GAP_MM, width) for n, width in enumerate(widths)]


@dataclass(frozen=True)
class Part:
    """A heading, paragraphs below it, then a table."""

    heading: str
    paragraphs: Sequence[str] = ()
    table: Table | None = None


@dataclass(frozen=True)
class Document:
    """What is printed: on each page its title, page number and caution; `notes` on the first."""

    title: str
    notes: Sequence[str]
    caution: str
    parts: Sequence[Part]


@dataclass(frozen=True)
class _Block:
    """Lines that stay together: each with its place across, baseline from the block's top, size
    and weight. `before`: the space above, but at the top of a page. `ruled`: a line below it.
    `with_next`: it does not end a page. `head`: stands again
    where it begins a page."""

    lines: Sequence[tuple[float, float, str, float, bool]]
    high_mm: float
    before_mm: float = 0.0
    ruled: bool = False
    with_next: bool = False
    head: "_Block | None" = None


def document_pdf(of: Document, *, out: BinaryIO, job: Job) -> int:
    """Print a document and return its pages."""
    width, height = A4_MM
    foot = _wrapped(job, of.caution, _ACROSS_MM * 0.88, _SMALL_MM)
    bottom = height - _MARGIN_MM - len(foot) * _SMALL_MM * LEADING - 3.0
    pages = list(_pages(list(_blocks(of, job)), bottom))
    with job.pdf(out, Sentence("%(title)s", {"title": of.title})) as (file, expected):
        for number, blocks in enumerate(pages, start=1):
            file.begin_page(width, height)
            _paint_head(file, job, of.title, first=number == 1)
            for top, block in blocks:
                _paint(file, block, top)
            _paint_foot(file, job, foot, bottom, f"{number} / {len(pages)}")
            file.end_page()
            expected.append(partial(no_symbol, width, height))
    return len(pages)


def _paint_head(file: PdfFile, job: Job, title: str, *, first: bool) -> None:
    size = _TITLE_MM if first else _SMALL_MM
    at = _MARGIN_MM + (_TITLE_MM * 0.7 if first else 0.0)
    one_line(file, job.typeface, title, _MARGIN_MM, at, _ACROSS_MM, size, bold=True)


def _paint_foot(file: PdfFile, job: Job, lines: Sequence[str], bottom_mm: float, page: str) -> None:
    file.line(_MARGIN_MM, bottom_mm + 1, A4_MM[0] - _MARGIN_MM, bottom_mm + 1, stroke_mm=0.25)
    at = bottom_mm + 1.5 + _SMALL_MM * LEADING
    for number, line in enumerate(lines):
        file.text(_MARGIN_MM, at + number * _SMALL_MM * LEADING, line, em_mm=_SMALL_MM)
    left = _MARGIN_MM + _ACROSS_MM * 0.9
    one_line(file, job.typeface, page, left, at, _ACROSS_MM * 0.1, _SMALL_MM, at_right=True)


def _paint(file: PdfFile, block: _Block, top_mm: float) -> None:
    for left, baseline, text, em, bold in block.lines:
        file.text(_MARGIN_MM + left, top_mm + baseline, text, em_mm=em, bold=bold)
    if block.ruled:
        below = top_mm + block.high_mm - 0.7
        file.line(_MARGIN_MM, below, A4_MM[0] - _MARGIN_MM, below, stroke_mm=0.2, grey=PALE)


# --------------------------------------------------------------------------------- lines and pages
def _pages(blocks: Sequence[_Block], bottom_mm: float) -> Iterator[list[tuple[float, _Block]]]:
    """The blocks of each page, with how far down they stand."""
    top = _MARGIN_MM + _TITLE_MM + 2.0
    page: list[tuple[float, _Block]] = []
    for at, block in enumerate(blocks):
        if page and top + _needed(blocks, at) > bottom_mm:
            yield page
            page, top = [], _MARGIN_MM + 4.0
            if (head := block.head) is not None:
                page.append((top, head))
                top += head.high_mm
        top += block.before_mm if page else 0.0
        page.append((top, block))
        top += block.high_mm
    yield page


def _needed(blocks: Sequence[_Block], at: int) -> float:
    """How much of a page a block takes, with those that it may not stand without."""
    high = blocks[at].before_mm + blocks[at].high_mm
    while blocks[at].with_next and at + 1 < len(blocks):
        at += 1
        high += blocks[at].before_mm + blocks[at].high_mm
    return high


def _blocks(of: Document, job: Job) -> Iterator[_Block]:
    for note in of.notes:
        yield _row(job, [note], [(0.0, _ACROSS_MM)])
    for part in of.parts:
        heading = _row(job, [part.heading], [(0.0, _ACROSS_MM)], em=_HEADING_MM, bold=True)
        yield replace(heading, high_mm=heading.high_mm + 1.0, before_mm=5.0, with_next=True)
        for text in part.paragraphs:
            yield _row(job, [text], [(0.0, _ACROSS_MM)])
        if part.table is not None and part.table.rows:
            table = part.table
            head = _row(job, table.headings, table.columns, bold=True, ruled=True)
            if head.lines:
                yield replace(head, with_next=True)
            for cells in table.rows:
                row = _row(job, cells, table.columns, ruled=True)
                yield replace(row, head=head if head.lines else None)


def _row(
    job: Job,
    cells: Sequence[str],
    columns: Sequence[tuple[float, float]],
    *,
    em: float = _TEXT_MM,
    bold: bool = False,
    ruled: bool = False,
) -> _Block:
    lines, most = [], 1
    for cell, (left, width) in zip(cells, columns, strict=True):
        wrapped = [
            line
            for text in cell.split("\n")
            for line in _wrapped(job, text, width, em, bold=bold) or [""]
        ]
        most = max(most, len(wrapped))
        lines += [
            (left, (number + 0.8) * em * LEADING, line, em, bold)
            for number, line in enumerate(wrapped)
            if line
        ]
    return _Block(lines, most * em * LEADING + (1.6 if ruled else 0.6), ruled=ruled)


def _wrapped(job: Job, text: str, width_mm: float, em: float, *, bold: bool = False) -> list[str]:
    face = job.typeface.face(bold)
    shown = typesetting.printable(text, face)
    return typesetting.wrap(shown, face, width_mm / em, breaking=True) or []
