"""What stands where on printed paper: labels, sheets of cells, cards and their symbols."""

from labels.rules.layout.calibration import Marks, Offset, marks
from labels.rules.layout.cards import LEADING, Column, LidCard, Row, SignOutKit, entries, flow
from labels.rules.layout.contents import Label, Order, ordered
from labels.rules.layout.layout import CellTooSmall, Layout, Space, lay_out
from labels.rules.layout.sheets import A4_MM, A5_MM, SHEETS, Cell, Hole, Sheet, SheetError, checked
from labels.rules.layout.symbols import (
    MM_PER_INCH,
    QUIET_MODULES,
    Symbol,
    SymbolTooSmall,
    encode,
    module_mm,
    smallest_side_mm,
)
from labels.rules.layout.typesetting import Face, Typeface

__all__ = [
    "A4_MM",
    "A5_MM",
    "LEADING",
    "MM_PER_INCH",
    "QUIET_MODULES",
    "SHEETS",
    "Cell",
    "CellTooSmall",
    "Column",
    "Face",
    "Hole",
    "Label",
    "Layout",
    "LidCard",
    "Marks",
    "Offset",
    "Order",
    "Row",
    "Sheet",
    "SheetError",
    "SignOutKit",
    "Space",
    "Symbol",
    "SymbolTooSmall",
    "Typeface",
    "checked",
    "encode",
    "entries",
    "flow",
    "lay_out",
    "marks",
    "module_mm",
    "ordered",
    "smallest_side_mm",
]
