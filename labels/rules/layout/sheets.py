"""Sheets and rolls of labels as data: where each cell is, in millimetres from the top left corner.

The sheets here are the grids that stationers sell by many names; ours say what they are. Any other
is described by the same numbers and checked for fit before anything is printed on it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from gearroom.core.rules.sentences import Sentence, say

UNPRINTABLE_EDGE_MM = 4.2
"""What a sheet printer leaves blank at each edge of the paper (a sixth of an inch)."""

INSET_MM = 1.0
"""Blank inside each cell's edge, since sheets are never fed quite straight."""

A4_MM = (210.0, 297.0)
A5_MM = (148.0, 210.0)
LETTER_MM = (215.9, 279.4)


class SheetError(ValueError):
    """A sheet, a start cell or an offset that cannot be printed; `problems` says what to do."""

    def __init__(self, *problems: Sentence) -> None:
        self.problems = problems
        super().__init__(" ".join(map(str, problems)))


@dataclass(frozen=True)
class Hole:
    """A hole to punch, at the middle of the cell's width, and the room around it kept blank."""

    diameter_mm: float
    centre_from_top_mm: float
    clear_mm: float = 2.0

    @property
    def depth_mm(self) -> float:
        """What the hole takes of the cell's height, from its top."""
        return self.centre_from_top_mm + self.diameter_mm / 2 + self.clear_mm


@dataclass(frozen=True)
class Cell:
    """A rectangle on the page, in mm from its top left corner."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    @property
    def right_mm(self) -> float:
        return self.left_mm + self.width_mm

    @property
    def bottom_mm(self) -> float:
        return self.top_mm + self.height_mm


@dataclass(frozen=True)
class Sheet:
    """A page of equal cells in mm; on a `roll` each label is its own page.

    `cut` sheets are plain paper or card: marks in the margin show where to cut.
    """

    key: str
    name: str
    page_width_mm: float
    page_height_mm: float
    columns: int
    rows: int
    cell_width_mm: float
    cell_height_mm: float
    left_mm: float = 0.0
    top_mm: float = 0.0
    pitch_x_mm: float = 0.0
    pitch_y_mm: float = 0.0
    roll: bool = False
    cut: bool = False
    hole: Hole | None = None

    @property
    def called(self) -> Sentence | str:
        """Its name: of those that are built in, a sentence to translate."""
        if self.roll and self.key != self.name:  # own ones have their name for a key
            wide, high = float(self.page_width_mm), float(self.page_height_mm)
            return say("Roll %(wide)s × %(high)s mm", wide=wide, high=high)
        return NAMES.get(self.key, self.name)

    @property
    def cells(self) -> int:
        """Labels a page."""
        return self.columns * self.rows

    def cell(self, number: int) -> Cell:
        """Return cell `number`, 1 to `cells`, counted along the rows from the top left."""
        if not 1 <= number <= self.cells:
            raise SheetError(
                say(
                    "%(sheet)s has labels 1 to %(cells)s; there is no label %(number)s.",
                    sheet=self.called,
                    cells=self.cells,
                    number=number,
                )
            )
        row, column = divmod(number - 1, self.columns)
        return Cell(
            self.left_mm + column * self.pitch_x_mm,
            self.top_mm + row * self.pitch_y_mm,
            self.cell_width_mm,
            self.cell_height_mm,
        )

    @property
    def inset_x_mm(self) -> float:
        """Blank at the left and right of every cell: more where cells touch the paper's edge."""
        right = self.page_width_mm - self.cell(self.cells).right_mm
        return self._inset(min(self.left_mm, right))

    @property
    def inset_y_mm(self) -> float:
        """Blank at the top and bottom of every cell."""
        bottom = self.page_height_mm - self.cell(self.cells).bottom_mm
        return self._inset(min(self.top_mm, bottom))

    def _inset(self, margin_mm: float) -> float:
        return INSET_MM if self.roll else max(INSET_MM, UNPRINTABLE_EDGE_MM - margin_mm)


def grid(
    key: str,
    name: str,
    page_mm: tuple[float, float],
    columns: int,
    rows: int,
    cell_mm: tuple[float, float],
    *,
    gap_mm: tuple[float, float] = (0.0, 0.0),
    cut: bool = False,
    hole: Hole | None = None,
) -> Sheet:
    """Return a sheet whose grid stands in the middle of the page."""
    width = columns * cell_mm[0] + (columns - 1) * gap_mm[0]
    height = rows * cell_mm[1] + (rows - 1) * gap_mm[1]
    return Sheet(
        key=key,
        name=name,
        page_width_mm=page_mm[0],
        page_height_mm=page_mm[1],
        columns=columns,
        rows=rows,
        cell_width_mm=cell_mm[0],
        cell_height_mm=cell_mm[1],
        left_mm=(page_mm[0] - width) / 2,
        top_mm=(page_mm[1] - height) / 2,
        pitch_x_mm=cell_mm[0] + gap_mm[0],
        pitch_y_mm=cell_mm[1] + gap_mm[1],
        cut=cut,
        hole=hole,
    )


def roll(key: str, width_mm: float, height_mm: float, hole: Hole | None = None) -> Sheet:
    """Return single labels for a roll printer: each label a page of its own."""
    return Sheet(
        key=key,
        name=f"Roll {width_mm:g} × {height_mm:g} mm",
        page_width_mm=width_mm,
        page_height_mm=height_mm,
        columns=1,
        rows=1,
        cell_width_mm=width_mm,
        cell_height_mm=height_mm,
        pitch_x_mm=width_mm,
        pitch_y_mm=height_mm,
        roll=True,
        hole=hole,
    )


TIE_ON_HOLE = Hole(diameter_mm=6.0, centre_from_top_mm=7.0)
KEY_RING_HOLE = Hole(diameter_mm=5.0, centre_from_top_mm=5.5)

SHEETS: dict[str, Sheet] = {
    sheet.key: sheet
    for sheet in (
        grid("a4-3x7", "A4 3 × 7", A4_MM, 3, 7, (63.5, 38.1), gap_mm=(2.5, 0)),
        grid("a4-3x8", "A4 3 × 8", A4_MM, 3, 8, (70.0, 37.0)),
        grid("a4-4x10", "A4 4 × 10", A4_MM, 4, 10, (48.5, 25.4)),
        grid("a4-5x13", "A4 5 × 13", A4_MM, 5, 13, (38.1, 21.2), gap_mm=(2.5, 0)),
        grid("letter-2x5", "Letter 2 × 5", LETTER_MM, 2, 5, (101.6, 50.8), gap_mm=(4.76, 0)),
        grid("letter-3x10", "Letter 3 × 10", LETTER_MM, 3, 10, (66.675, 25.4), gap_mm=(3.175, 0)),
        roll("roll-62x29", 62.0, 29.0),
        roll("roll-50x25", 50.0, 25.0),
        roll("roll-25x25", 25.0, 25.0),
        grid(
            "tie-on-a4", "Tie-on tags, A4 card", A4_MM, 3, 3, (55, 90), cut=True, hole=TIE_ON_HOLE
        ),
        roll("tie-on-55x90", 55.0, 90.0, hole=TIE_ON_HOLE),
        grid(
            "key-ring-a4", "Key-ring tags, A4 card", A4_MM, 5, 4, (36, 62), cut=True,
            hole=KEY_RING_HOLE,
        ),
    )
}  # fmt: skip


NAMES = {
    "tie-on-a4": say("Tie-on tags, A4 card"),
    "key-ring-a4": say("Key-ring tags, A4 card"),
}
"""What the built-in sheets are called, where that is words; rolls say their size."""


def problems(sheet: Sheet) -> tuple[Sentence, ...]:
    """Return what keeps `sheet` from being printed, each with what to do; empty when it fits."""
    wrong = (
        tuple(sentence for is_wrong, sentence in checks if is_wrong)
        for checks in (_measures(sheet), _fit(sheet))
    )
    return next(filter(None, wrong), ())


def _measures(sheet: Sheet) -> Iterator[tuple[bool, Sentence]]:
    """Give what may be wrong with single numbers, and whether it is."""
    lengths = {
        say("paper width"): sheet.page_width_mm,
        say("paper height"): sheet.page_height_mm,
        say("label width"): sheet.cell_width_mm,
        say("label height"): sheet.cell_height_mm,
    }
    for name, value in lengths.items():
        yield (
            not 5 <= value <= 1000,
            say(
                "The %(length)s is %(value)s mm: enter a length between 5 and 1000 mm.",
                length=name,
                value=float(value),
            ),
        )
    yield (
        not (1 <= sheet.columns <= 50 and 1 <= sheet.rows <= 50),
        say("Enter between 1 and 50 columns and between 1 and 50 rows."),
    )
    yield (
        sheet.left_mm < 0 or sheet.top_mm < 0,
        say("Margins are measured from the edge of the paper, so they cannot be negative."),
    )


def _fit(sheet: Sheet) -> Iterator[tuple[bool, Sentence]]:
    """Give what may keep the cells from fitting on the page, and whether it does."""
    yield (
        sheet.columns > 1 and sheet.pitch_x_mm < sheet.cell_width_mm - 1e-6,
        say(
            "The labels overlap: it is %(pitch)s mm from one label’s left edge to the next "
            "one’s, so a label can be at most that wide, not %(width)s mm.",
            pitch=float(sheet.pitch_x_mm),
            width=float(sheet.cell_width_mm),
        ),
    )
    yield (
        sheet.rows > 1 and sheet.pitch_y_mm < sheet.cell_height_mm - 1e-6,
        say(
            "The labels overlap: it is %(pitch)s mm from one label’s top edge to the next "
            "one’s, so a label can be at most that high, not %(height)s mm.",
            pitch=float(sheet.pitch_y_mm),
            height=float(sheet.cell_height_mm),
        ),
    )
    last = sheet.cell(sheet.cells)
    over_x, over_y = last.right_mm - sheet.page_width_mm, last.bottom_mm - sheet.page_height_mm
    yield (
        over_x > 1e-6,
        say(
            "The last column extends %(over)s mm beyond the right edge of the page: reduce the "
            "left margin, the distance between labels, the label width or the number of "
            "columns.",
            over=round(over_x, 1),
        ),
    )
    yield (
        over_y > 1e-6,
        say(
            "The last row extends %(over)s mm beyond the bottom edge of the page: reduce the "
            "top margin, the distance between labels, the label height or the number of rows.",
            over=round(over_y, 1),
        ),
    )
    yield (
        sheet.roll and sheet.cells != 1,
        say("A roll has one label per page: enter one column and one row."),
    )
    yield (
        sheet.hole is not None and sheet.hole.depth_mm > sheet.cell_height_mm / 2,
        say("The hole takes up more than half of the label: move it up or make it smaller."),
    )


def checked(sheet: Sheet) -> Sheet:
    """Return `sheet`, or raise SheetError with everything that keeps it from being printed."""
    if wrong := problems(sheet):
        raise SheetError(*wrong)
    return sheet
