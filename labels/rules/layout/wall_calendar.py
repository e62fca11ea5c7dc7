"""The wall calendar: twelve months in a grid, a row with a tick box for each kit and item.

Every month's rows are set in the largest type in which all of them fit. Where they do not even in
the smallest, a month says how many are on the sheets that follow, which have them in columns:
nothing is cut. Lengths are millimetres from the sheet's top left corner.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gearroom.core.rules.sentences import Speak, say
from labels.rules.layout import typesetting
from labels.rules.layout.cards import LEADING, Column
from labels.rules.layout.typesetting import Typeface

ACROSS, DOWN = 4, 3
MARGIN_MM = 10.0
_PAD_MM = 2.0
_HEADING_EM = 1.25
_GAP_EM = 0.25
_MOST_SIDE_BY_SIDE = 2
_FEWEST_LINES = 3


@dataclass(frozen=True)
class Paper:
    """Paper that the calendar is printed on, lying across; the largest and the smallest type of its
    rows, and that of its title."""

    width_mm: float
    height_mm: float
    largest_mm: float
    smallest_mm: float
    title_mm: float


PAPERS = {
    "a3": Paper(420.0, 297.0, 4.2, 2.7, 9.0),
    "a4": Paper(297.0, 210.0, 3.4, 2.3, 6.5),
    "letter": Paper(279.4, 215.9, 3.4, 2.3, 6.5),
}


@dataclass(frozen=True)
class CalendarLine:
    """A row: its day, and what it is about; `bold` for a must-have."""

    day: str
    text: str
    bold: bool


@dataclass(frozen=True)
class CalendarMonth:
    """A month's heading and its rows."""

    heading: str
    lines: tuple[CalendarLine, ...]


@dataclass(frozen=True)
class WallCalendar:
    """What stands on the sheets: `above` the grid and `below` it in sentences, and what a month
    says that has no row."""

    title: str
    as_of: str
    above: tuple[str, ...]
    below: tuple[str, ...]
    months: tuple[CalendarMonth, ...]
    nothing: str


@dataclass(frozen=True)
class CalendarRow:
    """A printed line. `tick`: a box stands at `left_mm`, with the day after it; `rule`: a heading,
    underlined to `right_mm`."""

    page: int
    text: str
    left_mm: float
    right_mm: float
    baseline_mm: float
    em_mm: float
    bold: bool = False
    tick: bool = False
    day: str = ""
    text_left_mm: float = 0.0
    rule: bool = False


@dataclass(frozen=True)
class Placed:
    """The rows of all sheets, the months' cells on the first, and how many sheets there are."""

    rows: tuple[CalendarRow, ...]
    cells: tuple[Column, ...]
    pages: int


def place(
    of: WallCalendar, paper: Paper, face: Typeface, *, top_mm: float, bottom_mm: float, speak: Speak
) -> Placed:
    """Set a calendar between two heights of its sheets."""
    smallest = max(paper.smallest_mm, face.regular.smallest_mm)
    em, available = paper.largest_mm, bottom_mm - top_mm
    while sum(needs := _needs(of, paper, face, em)) > available and em > smallest:
        em = max(smallest, em * 0.95)
    cells = _cells(paper, top_mm, _heights(needs, available))
    rows: list[CalendarRow] = []
    rest: list[CalendarMonth] = []
    for month, cell in zip(of.months, cells, strict=True):
        setting = _Setting(cell, face, em)
        left = setting.month(month, of.nothing, speak)
        rows += setting.rows
        if left:
            rest.append(CalendarMonth(month.heading, left))
    following = _following(rest, paper, face, em, (top_mm, bottom_mm), speak)
    rows += following
    return Placed(tuple(rows), tuple(cells), 1 + max((row.page for row in following), default=0))


def _needs(of: WallCalendar, paper: Paper, face: Typeface, em_mm: float) -> list[float]:
    """How high each row of months has to be for all that is in it."""
    tall = [
        _Setting(cell, face, em_mm).needs(month)
        for month, cell in zip(of.months, _cells(paper, 0.0, [0.0] * DOWN), strict=True)
    ]
    return [max(tall[y * ACROSS : (y + 1) * ACROSS]) for y in range(DOWN)]


def _heights(needs: Sequence[float], available: float) -> list[float]:
    """How high each row of months is: what it needs and its share of the rest; where there is not
    enough, its share of what there is, none below a sixth."""
    if (spare := available - sum(needs)) >= 0:
        return [need + spare / DOWN for need in needs]
    least = available / (2 * DOWN)
    return [least + (available - DOWN * least) * need / sum(needs) for need in needs]


def _cells(paper: Paper, top_mm: float, heights: Sequence[float]) -> list[Column]:
    """The cells of the twelve months, row by row."""
    width = (paper.width_mm - 2 * MARGIN_MM) / ACROSS
    return [
        Column(0, MARGIN_MM + x * width, top_mm + sum(heights[:y]), width, heights[y])
        for y in range(DOWN)
        for x in range(ACROSS)
    ]


class _Setting:
    """Rows set down a column, one after another."""

    def __init__(self, column: Column, face: Typeface, em_mm: float) -> None:
        self.column, self.face, self.em = column, face, em_mm
        self.rows: list[CalendarRow] = []
        self.left = column.left_mm + _PAD_MM
        self.right = column.left_mm + column.width_mm - _PAD_MM
        self.used = 0.0
        self.height = column.height_mm - _PAD_MM

    def needs(self, month: CalendarMonth) -> float:
        """How high a column is that has all of a month."""
        days = self._days(month.lines)
        rows = sum(self._tall(line, days) for line in month.lines)
        return self._heading_mm + max(rows, _FEWEST_LINES * self.em * LEADING) + _PAD_MM

    def month(self, month: CalendarMonth, nothing: str, speak: Speak) -> tuple[CalendarLine, ...]:
        """Set a month in its cell; what is left over goes on a following sheet."""
        parts = self._parts(self._across(month) or _MOST_SIDE_BY_SIDE)
        self.heading(month.heading)
        if not month.lines:
            self._text(nothing)
        left = month.lines
        for part in parts:
            kept = part.how_many(left)
            if part is parts[-1] and kept < len(left):
                kept = part.how_many(left, spare_mm=self.em * LEADING)
            part.lines(left[:kept])
            left = left[kept:]
        if left:
            more = say("On the next sheet: %(n)s more", n=len(left))
            parts[-1]._text(speak(more), bold=True)
        self.rows += [row for part in parts for row in part.rows]
        return left

    def _across(self, month: CalendarMonth) -> int | None:
        """In how many columns a month's rows fit below its heading."""
        for across in range(1, _MOST_SIDE_BY_SIDE + 1):
            left = month.lines
            for part in self._parts(across):
                left = left[part.how_many(left) :]
            if not left:
                return across
        return None

    def _parts(self, across: int) -> list["_Setting"]:
        """The column below a heading, as so many side by side."""
        of = self.column
        width = of.width_mm / across
        parts = []
        for x in range(across):
            column = Column(of.page, of.left_mm + x * width, of.top_mm, width, of.height_mm)
            part = _Setting(column, self.face, self.em)
            part.used = self.used + self._heading_mm
            parts.append(part)
        return parts

    def heading(self, text: str) -> None:
        """Set a heading."""
        gap = self.em * LEADING if self.used else 0.0
        bold = self.face.bold
        em, lines = typesetting.fit_lines(
            typesetting.printable(text, bold),
            bold,
            width_mm=self.right - self.left,
            largest_mm=self.em * _HEADING_EM,
            most_lines=1,
        )
        self.used += gap + self._heading_mm
        baseline = self.column.top_mm + self.used - self.em * 0.75
        self._row("".join(lines), baseline, em, bold=True, rule=True)

    def how_many(self, lines: Sequence[CalendarLine], *, spare_mm: float = 0.0) -> int:
        """How many of these rows fit below what is set, with so much left over."""
        used, days = self.used, self._days(lines)
        for number, line in enumerate(lines):
            used += self._tall(line, days)
            if used > self.height - spare_mm:
                return number
        return len(lines)

    def lines(self, lines: Sequence[CalendarLine]) -> None:
        """Set rows."""
        days = self._days(lines)
        for line in lines:
            top = self.column.top_mm + self.used
            for number, piece in enumerate(self._pieces(line, days)):
                first = number == 0
                self._row(
                    piece,
                    top + (number + 1) * self.em * LEADING - self.em * 0.3,
                    self.em,
                    bold=line.bold,
                    tick=first,
                    day=line.day if first else "",
                    text_left=self._text_left(days),
                )
            self.used += self._tall(line, days)

    @property
    def _heading_mm(self) -> float:
        return self.em * (_HEADING_EM + 1.1)

    def _days(self, lines: Sequence[CalendarLine]) -> float:
        """How wide the days are, in em."""
        return max((self.face.bold.width(line.day) for line in lines), default=0.0)

    def _text_left(self, days: float) -> float:
        return self.left + self.em * (1.15 + days + 0.6)

    def _pieces(self, line: CalendarLine, days: float) -> list[str]:
        face = self.face.face(line.bold)
        width = (self.right - self._text_left(days)) / self.em
        text = typesetting.printable(line.text, face)
        return typesetting.wrap(text, face, width, breaking=True) or [""]

    def _tall(self, line: CalendarLine, days: float) -> float:
        return self.em * (LEADING * len(self._pieces(line, days)) + _GAP_EM)

    def _text(self, text: str, *, bold: bool = False) -> None:
        face = self.face.face(bold)
        width = (self.right - self.left) / self.em
        for line in (
            typesetting.wrap(typesetting.printable(text, face), face, width, breaking=True) or []
        ):
            self.used += self.em * LEADING
            self._row(line, self.column.top_mm + self.used - self.em * 0.3, self.em, bold=bold)

    def _row(
        self,
        text: str,
        baseline_mm: float,
        em_mm: float,
        *,
        bold: bool = False,
        tick: bool = False,
        day: str = "",
        text_left: float = 0.0,
        rule: bool = False,
    ) -> None:
        self.rows.append(
            CalendarRow(
                page=self.column.page,
                text=text,
                left_mm=self.left,
                right_mm=self.right,
                baseline_mm=baseline_mm,
                em_mm=em_mm,
                bold=bold,
                tick=tick,
                day=day,
                text_left_mm=text_left or self.left,
                rule=rule,
            )
        )


def _following(
    rest: Sequence[CalendarMonth],
    paper: Paper,
    face: Typeface,
    em_mm: float,
    between: tuple[float, float],
    speak: Speak,
) -> list[CalendarRow]:
    """What the months had no room for, down the columns of the sheets that follow."""
    columns = _columns(paper, between)
    rows: list[CalendarRow] = []
    setting: _Setting | None = None
    for month in rest:
        lines = month.lines
        heading = speak(say("%(month)s, continued", month=month.heading))
        while lines:
            if setting is None or setting.used + em_mm * 6 > setting.height:
                setting = _Setting(next(columns), face, em_mm)
            setting.rows = []
            setting.heading(heading)
            kept = max(setting.how_many(lines), 0 if setting.used > setting.height / 2 else 1)
            setting.lines(lines[:kept])
            rows += setting.rows
            lines = lines[kept:]
            if lines:
                setting = None
    return rows


def _columns(paper: Paper, between: tuple[float, float]) -> Iterator[Column]:
    top, bottom = between
    width = (paper.width_mm - 2 * MARGIN_MM) / ACROSS
    page = 1
    while True:
        for x in range(ACROSS):
            yield Column(page, MARGIN_MM + x * width, top, width, bottom - top)
        page += 1
