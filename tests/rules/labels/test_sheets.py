"""Sheets as data: cells on the page, sheets that do not fit, and a printer's correction."""

import itertools
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, strategies as st

from labels.rules.layout.calibration import Marks, Offset, marks
from labels.rules.layout.sheets import (
    A4_MM,
    SHEETS,
    Hole,
    SheetError,
    checked,
    grid,
    problems,
    roll,
)

sheets = pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)


def apart(one: Any, other: Any) -> Any:
    return (
        one.right_mm <= other.left_mm + 1e-6
        or other.right_mm <= one.left_mm + 1e-6
        or one.bottom_mm <= other.top_mm + 1e-6
        or other.bottom_mm <= one.top_mm + 1e-6
    )


@sheets
def test_every_sheet_we_ship_fits_its_page(sheet: Any) -> None:
    assert problems(sheet) == ()


@sheets
def test_cells_stand_on_the_page_and_apart(sheet: Any) -> None:
    cells = [sheet.cell(number) for number in range(1, sheet.cells + 1)]
    for cell in cells:
        assert cell.left_mm >= 0
        assert cell.top_mm >= 0
        assert cell.right_mm <= sheet.page_width_mm + 1e-6
        assert cell.bottom_mm <= sheet.page_height_mm + 1e-6
    assert all(apart(one, other) for one, other in itertools.combinations(cells, 2))


@sheets
def test_ink_stays_off_the_edge_that_printers_cannot_reach(sheet: Any) -> None:
    if sheet.roll:
        return
    first, last = sheet.cell(1), sheet.cell(sheet.cells)
    assert first.left_mm + sheet.inset_x_mm >= 4.2 - 1e-6
    assert first.top_mm + sheet.inset_y_mm >= 4.2 - 1e-6
    assert last.right_mm - sheet.inset_x_mm <= sheet.page_width_mm - 4.2 + 1e-6
    assert last.bottom_mm - sheet.inset_y_mm <= sheet.page_height_mm - 4.2 + 1e-6


def test_the_grids_have_the_labels_a_page_that_they_are_bought_for() -> None:
    counts = {key: sheet.cells for key, sheet in SHEETS.items() if not sheet.cut}
    assert counts == {
        "a4-3x7": 21,
        "a4-3x8": 24,
        "a4-4x10": 40,
        "a4-5x13": 65,
        "letter-2x5": 10,
        "letter-3x10": 30,
        "roll-62x29": 1,
        "roll-50x25": 1,
        "roll-25x25": 1,
        "tie-on-55x90": 1,
    }


def test_cells_are_counted_along_the_rows() -> None:
    sheet = SHEETS["a4-3x7"]
    assert sheet.cell(4).left_mm == sheet.cell(1).left_mm
    assert sheet.cell(4).top_mm > sheet.cell(3).top_mm
    with pytest.raises(SheetError, match="labels 1 to 21; there is no label 22"):
        sheet.cell(22)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"columns": 4}, "beyond the right edge of the page"),
        ({"rows": 9}, "beyond the bottom edge of the page"),
        ({"pitch_x_mm": 60.0}, "The labels overlap: it is 60 mm from one label’s left edge"),
        ({"pitch_y_mm": 30.0}, "The labels overlap: it is 30 mm from one label’s top edge"),
        ({"left_mm": -1.0}, "cannot be negative"),
        ({"cell_width_mm": 0.0}, "label width is 0 mm"),
        ({"rows": 0}, "between 1 and 50 rows"),
        ({"page_width_mm": 5000.0}, "paper width is 5000 mm"),
        ({"page_width_mm": float("nan")}, "paper width is nan mm"),
        ({"roll": True}, "one label per page"),
        ({"hole": Hole(10, 20)}, "more than half of the label"),
    ],
)
def test_a_sheet_that_does_not_fit_is_refused_with_what_to_do(change: Any, said: str) -> None:
    with pytest.raises(SheetError) as refusal:
        checked(replace(SHEETS["a4-3x7"], **change))
    assert any(said in str(problem) for problem in refusal.value.problems)


@given(
    columns=st.integers(1, 8),
    rows=st.integers(1, 15),
    width=st.floats(5, 200),
    height=st.floats(5, 200),
    gap=st.floats(0, 10),
)
def test_a_sheet_without_problems_has_its_cells_apart_and_on_the_page(
    columns: int, rows: int, width: float, height: float, gap: float
) -> None:
    sheet = grid("x", "X", A4_MM, columns, rows, (width, height), gap_mm=(gap, gap))
    if problems(sheet):
        return
    first, last = sheet.cell(1), sheet.cell(sheet.cells)
    assert first.left_mm >= 0
    assert first.top_mm >= 0
    assert last.right_mm <= A4_MM[0] + 1e-6
    assert last.bottom_mm <= A4_MM[1] + 1e-6
    if columns > 1:
        assert apart(first, sheet.cell(2))


@given(
    scale=st.floats(0.96, 1.04),
    begin_x=st.floats(-5, 5),
    begin_y=st.floats(-5, 5),
)
def test_the_correction_puts_what_was_measured_where_it_was_meant(
    scale: float, begin_x: float, begin_y: float
) -> None:
    meant = Marks(15.0, 100.0, 100.0)

    def printed(x: float, y: float) -> tuple[float, float]:
        return scale * x + begin_x, scale * y + begin_y

    left, top = printed(15.0, 15.0)
    offset = meant.offset(left, top, scale * 100, scale * 100)
    for x, y in ((15.0, 15.0), (100.0, 200.0)):
        landed = printed(
            x * offset.scale_x + offset.dx_mm,
            y * offset.scale_y + offset.dy_mm,
        )
        assert landed == pytest.approx((x, y), abs=0.05)


def test_a_correction_that_no_printer_needs_is_refused() -> None:
    with pytest.raises(SheetError, match="at most 10 mm"):
        Offset(dx_mm=11)
    with pytest.raises(SheetError, match="fit to page"):
        Offset(scale_x=0.9)
    with pytest.raises(SheetError, match="whole length of each ruler"):
        marks(SHEETS["a4-3x7"]).offset(15, 15, 0, 100)


def test_the_rulers_of_a_small_label_are_as_long_as_it_holds() -> None:
    assert marks(roll("x", 62, 29)) == Marks(4.0, 50.0, 20.0)
    assert marks(SHEETS["a4-5x13"]) == Marks(15.0, 100.0, 100.0)
