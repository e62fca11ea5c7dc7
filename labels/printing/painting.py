"""Drawing a layout into a PDF."""

import math

from labels.printing.pdf import GREY, PALE, WHITE, PdfFile
from labels.rules.layout import Cell, Layout, Sheet, Typeface, typesetting

_MARK_MM = 3.5


def paint(file: PdfFile, layout: Layout, cell: Cell) -> None:
    """Draw `layout` in `cell`; what would leave the cell is cut off."""
    file.push(cell.left_mm, cell.top_mm)
    file.clip(0, 0, layout.width_mm, layout.height_mm)
    for band in layout.bands:
        file.rectangle(band.left_mm, band.top_mm, band.width_mm, band.height_mm)
    for line in layout.lines:
        file.text(
            line.box.left_mm,
            line.baseline_mm,
            line.text,
            em_mm=line.em_mm,
            bold=line.bold,
            grey=WHITE if line.inverse else 0.0,
        )
    file.symbol(layout.symbol, *layout.first_module_mm, layout.module_mm)
    if layout.hole:
        centre, radius = layout.hole.centre_from_top_mm, layout.hole.diameter_mm / 2
        file.circle(layout.width_mm / 2, centre, radius)
        for dx, dy in ((0.0, radius * 0.4), (radius * 0.4, 0.0)):
            x = layout.width_mm / 2
            file.line(x - dx, centre - dy, x + dx, centre + dy, stroke_mm=0.2, grey=GREY)
    file.pop()


def paint_cutting_marks(file: PdfFile, sheet: Sheet) -> None:
    """Draw where to cut: short lines in the margins, outside every cell."""
    first, last = sheet.cell(1), sheet.cell(sheet.cells)
    for column in range(sheet.columns):
        left = sheet.cell(column + 1).left_mm
        for x in (left, left + sheet.cell_width_mm):
            _mark(file, x, first.top_mm, 0, -1)
            _mark(file, x, last.bottom_mm, 0, 1)
    for row in range(sheet.rows):
        top = sheet.cell(row * sheet.columns + 1).top_mm
        for y in (top, top + sheet.cell_height_mm):
            _mark(file, first.left_mm, y, -1, 0)
            _mark(file, last.right_mm, y, 1, 0)


def _mark(file: PdfFile, x: float, y: float, dx: int, dy: int) -> None:
    file.line(x + dx, y + dy, x + dx * _MARK_MM, y + dy * _MARK_MM, stroke_mm=0.15, grey=GREY)


def paint_preview_mark(
    file: PdfFile, width_mm: float, height_mm: float, typeface: Typeface, mark: str
) -> None:
    """Write that it is a preview, pale, across the whole page (under what is drawn afterwards)."""
    angle = math.atan2(height_mm, width_mm)
    width = typeface.bold.width(mark)
    em = min(0.8 * math.hypot(width_mm, height_mm) / width, 0.3 * min(width_mm, height_mm))
    file.push_turned(width_mm / 2, height_mm / 2, math.cos(angle), -math.sin(angle))
    file.text(-width * em / 2, em * 0.35, mark, em_mm=em, bold=True, grey=PALE)
    file.pop()


def one_line(
    file: PdfFile,
    typeface: Typeface,
    text: str,
    left_mm: float,
    baseline_mm: float,
    width_mm: float,
    largest_mm: float,
    *,
    bold: bool = False,
    at_right: bool = False,
) -> None:
    """Set `text` on one line of `width_mm`, smaller or shortened where it must be."""
    face = typeface.face(bold)
    em, lines = typesetting.fit_lines(
        typesetting.printable(text, face),
        face,
        width_mm=width_mm,
        largest_mm=largest_mm,
        most_lines=1,
    )
    for line in lines:
        left = left_mm + (width_mm - face.width(line) * em if at_right else 0.0)
        file.text(left, baseline_mm, line, em_mm=em, bold=bold)
