"""The lid card: A5, or A4 folded to A5."""

from collections.abc import Iterator, Sequence
from functools import partial
from typing import BinaryIO, Literal

from gearroom.core.rules.sentences import InvalidValue, say
from labels.printing.jobs import Job
from labels.printing.painting import one_line, paint_preview_mark
from labels.printing.pdf import GREY, PdfFile
from labels.printing.readback import Expected
from labels.rules.layout import (
    A4_MM,
    A5_MM,
    LEADING,
    QUIET_MODULES,
    Cell,
    Column,
    LidCard,
    Row,
    Symbol,
    entries,
    flow,
    module_mm,
    typesetting,
)

CardFormat = Literal["a5", "a4-folded"]

_MARGIN_MM = 9.0
_LARGEST_LIST_MM = 4.6
_MOST_PAGES = 20


_TYPE: dict[CardFormat, tuple[float, float, float]] = {
    "a5": (13.0, 4.0, 3.0),
    "a4-folded": (18.0, 5.0, 4.2),
}
"""The em, in mm, of the kit's name, of who answers for it, and of the cautions."""


class CardTooLong(InvalidValue):
    """The list is longer than any card."""


def lid_card_pdf(card: LidCard, *, out: BinaryIO, job: Job, size: CardFormat = "a5") -> int:
    """Print a kit's lid card into `out` as PDF and return its pages.

    `a5`: one side, A5 upright. `a4-folded`: one side of A4 across, folded in the middle: outside
    right the kit, who answers for it and the cautions, outside left the items. The list is set as
    large as it fits; one too long at the smallest legible size goes on on a further page.
    """
    width, height = A5_MM if size == "a5" else (A4_MM[1], A4_MM[0])
    front = 0.0 if size == "a5" else width / 2
    panel = _Panel(front, width - front, height, job, card, _TYPE[size])
    rows = _largest(card, panel, size, job)
    pages = 1 + max((row.page for row in rows), default=0)
    with job.pdf(out, say("%(kit)s: lid card", kit=card.kit)) as (file, expected):
        for number in range(pages):
            file.begin_page(width, height)
            if job.preview:
                paint_preview_mark(file, width, height, job.typeface, job.preview_mark)
            if size == "a4-folded":
                for top in (2.0, height - 7.0):
                    file.line(front, top, front, top + 5, grey=GREY, dash_mm=(1, 1))
            panel.paint(file, number, pages)
            _paint_rows(file, [row for row in rows if row.page == number], job)
            file.end_page()
            expected.append(partial(panel.expectation, number, width, height))
    return pages


class _Panel:
    """The card's fixed part: name, symbol, who answers for it, cautions at the foot."""

    def __init__(
        self,
        left_mm: float,
        width_mm: float,
        height_mm: float,
        job: Job,
        card: LidCard,
        type_mm: tuple[float, float, float],
    ) -> None:
        self.name_mm, self.who_mm, self.caution_mm = type_mm
        self.left = left_mm + _MARGIN_MM
        self.right = left_mm + width_mm - _MARGIN_MM
        self.job, self.card = job, card
        self.symbol: Symbol = job.symbol(card.code)
        self.module = module_mm(self.symbol.modules_with_quiet, 36.0)
        side = self.module * self.symbol.modules_with_quiet
        quiet = QUIET_MODULES * self.module
        # The quiet zone may lie over the margin: what counts is that it stays white.
        self.box = Cell(self.right - side + quiet, _MARGIN_MM - quiet, side, side)
        self.text_right = self.box.left_mm
        width = self.right - self.left
        face = job.typeface.regular
        self.cautions = [
            typesetting.wrap(
                typesetting.printable(job.speak(text), face),
                face,
                (width - 4) / self.caution_mm,
                breaking=True,
            )
            or []
            for text in card.cautions
        ]
        lines = sum(len(broken) for broken in self.cautions)
        self.foot = height_mm - _MARGIN_MM - lines * self.caution_mm * LEADING - 3.0
        self.head = max(self.box.bottom_mm - quiet + 7.0, _MARGIN_MM + 34.0)  # of an A5's list

    def expectation(self, page: int, width_mm: float, height_mm: float) -> Expected:
        return [(Cell(0, 0, width_mm, height_mm), "" if page else self.symbol.payload)]

    def paint(self, file: PdfFile, page: int, pages: int) -> None:
        card, job = self.card, self.job
        if page:
            part = job.speak(
                say("%(kit)s, %(page)s of %(pages)s", kit=card.kit, page=page + 1, pages=pages)
            )
            one_line(
                file, job.typeface, part, self.left, _MARGIN_MM + 4,
                self.right - self.left, 5.0, bold=True,
            )  # fmt: skip
            return
        width = self.text_right - self.left
        bold = job.typeface.bold
        name = typesetting.printable(card.kit, bold)
        em, lines = typesetting.fit_lines(
            name, bold, width_mm=width, largest_mm=self.name_mm, most_lines=1
        )
        if em < self.name_mm * 0.55:  # two lines of half the size read better than a very small one
            em, lines = typesetting.fit_lines(
                name, bold, width_mm=width, largest_mm=self.name_mm * 0.55, most_lines=2
            )
        top = _MARGIN_MM + bold.cap_height * em
        for line in lines:
            file.text(self.left, top, line, em_mm=em, bold=True)
            top += em * 1.05
        top = _MARGIN_MM + self.name_mm * 1.2 + self.who_mm * 0.6
        for text in (
            ", ".join(part for part in (card.room, job.organisation) if part),
            card.responsible and job.speak(say("Responsible: %(name)s", name=card.responsible)),
            card.deputy and job.speak(say("Deputy: %(name)s", name=card.deputy)),
        ):
            if text:
                one_line(file, job.typeface, text, self.left, top, width, self.who_mm)
                top += self.who_mm * LEADING
        quiet = QUIET_MODULES * self.module
        file.symbol(self.symbol, self.box.left_mm + quiet, self.box.top_mm + quiet, self.module)
        code = job.code_text(card.code)
        inked = self.box.width_mm - 2 * quiet
        size = max(min(4.6, inked / bold.width(code)), bold.smallest_mm)
        left = self.right - max(inked, 0.0) + max(0.0, (inked - bold.width(code) * size) / 2)
        left = min(left, self.right - bold.width(code) * size)
        file.text(left, self.box.bottom_mm - quiet + size * 1.15, code, em_mm=size, bold=True)
        file.line(self.left, self.foot, self.right, self.foot, stroke_mm=0.35)
        top = self.foot + self.caution_mm * 1.4
        for broken in self.cautions:
            file.text(self.left, top, "•", em_mm=self.caution_mm)
            for line in broken:
                file.text(self.left + 3, top, line, em_mm=self.caution_mm)
                top += self.caution_mm * LEADING


def _largest(card: LidCard, panel: _Panel, size: CardFormat, job: Job) -> Sequence[Row]:
    """Return the list's rows at the largest size that needs the fewest pages."""
    lines = entries(card.pouches, job.speak)
    smallest = job.typeface.regular.smallest_mm

    def set_at(em_mm: float, pages: int) -> Sequence[Row] | None:
        for across in (1, 2):
            columns = list(_columns(panel, size, pages, across))
            if (rows := flow(lines, columns, job.typeface, em_mm, job.speak)) is not None:
                return rows
        return None

    for pages in range(1, _MOST_PAGES + 1):
        if set_at(smallest, pages) is None:
            continue
        em = _LARGEST_LIST_MM
        while (rows := set_at(em, pages)) is None:
            em = max(smallest, em * 0.95)
        return rows
    raise CardTooLong(
        say(
            "%(kit)s has more items than fit on a lid card: put fewer on its kit list, or "
            "print the kit list instead.",
            kit=card.kit,
        )
    )


def _columns(panel: _Panel, size: CardFormat, pages: int, across: int) -> Iterator[Column]:
    """Yield where the list may go: page after page, `across` columns side by side."""
    gap = 6.0
    for page in range(pages):
        if size == "a5":
            top = panel.head if page == 0 else _MARGIN_MM + 9
            bottom = panel.foot - 3 if page == 0 else A5_MM[1] - _MARGIN_MM
            panels = [(panel.left, panel.right, top, bottom)]
        else:
            half, height = A4_MM[1] / 2, A4_MM[0]
            top = _MARGIN_MM if page == 0 else _MARGIN_MM + 9
            panels = [(_MARGIN_MM, half - _MARGIN_MM, top, height - _MARGIN_MM)]
            if page:
                panels.append((panel.left, panel.right, top, height - _MARGIN_MM))
        for left, right, first, last in panels:
            width = (right - left - (across - 1) * gap) / across
            for number in range(across):
                yield Column(page, left + number * (width + gap), first, width, last - first)


def _paint_rows(file: PdfFile, rows: Sequence[Row], job: Job) -> None:
    bold = job.typeface.bold
    for row in rows:
        file.text(row.left_mm, row.baseline_mm, row.text, em_mm=row.em_mm, bold=row.bold)
        if row.lead:
            width = bold.width(row.lead) * row.em_mm
            file.text(
                row.lead_right_mm - width, row.baseline_mm, row.lead, em_mm=row.em_mm, bold=True
            )
        if row.rule_to_mm:
            rule = row.baseline_mm + row.em_mm * 0.28
            file.line(row.left_mm, rule, row.rule_to_mm, rule, stroke_mm=0.25)
