"""The lid card: A5, or A4 folded to A5; and the paper sheet on which kits are signed out."""

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import islice
from typing import BinaryIO, Literal

from gearroom.core.rules.sentences import InvalidValue, Sentence, say
from labels.printing.jobs import Job
from labels.printing.painting import one_line, paint_preview_mark
from labels.printing.pdf import GREY, PALE, PdfFile
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
    SignOutKit,
    Symbol,
    entries,
    flow,
    module_mm,
    smallest_side_mm,
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
            paint_rows(file, [row for row in rows if row.page == number], job)
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
        self.head = max(self.box.bottom_mm - quiet + 7.0, _MARGIN_MM + 36.0)  # of an A5's list
        if card.training:  # one line more
            self.head += self.who_mm * LEADING

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
        if card.training:
            mark = job.speak(say("TRAINING: not for emergencies"))
            one_line(file, job.typeface, mark, self.left, top, width, self.who_mm, bold=True)
            top += self.who_mm * LEADING
        for text in (
            ", ".join(part for part in (card.room, job.organisation) if part),
            card.responsible and job.speak(say("Responsible: %(name)s", name=card.responsible)),
            card.deputy and job.speak(say("Deputy: %(name)s", name=card.deputy)),
            card.kit_list and job.speak(_version(card)),
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


def _version(card: LidCard) -> Sentence:
    """Which version of which list the card shows, and of which day."""
    facts = {"list": card.kit_list, "version": card.version}
    if card.published is None:
        return say("%(list)s, version %(version)s", **facts)
    return say("%(list)s, version %(version)s, %(day)s", **facts, day=card.published)


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


def paint_rows(file: PdfFile, rows: Sequence[Row], job: Job) -> None:
    """Paint the rows of a list that flows."""
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


# ------------------------------------------------------------------------------- the sign-out sheet
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
_UNNAMED_SHEET = say("Sign-out sheet")


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
    title = say("Sign-out sheet, %(room)s", room=room) if room else _UNNAMED_SHEET
    with job.pdf(out, title) as (file, expected):
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
    head = job.speak(say("Sign-out sheet: %(room)s", room=room) if room else _UNNAMED_SHEET)
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
                "the kit’s code, enter each line, then cross it out."
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
