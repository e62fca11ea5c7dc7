"""QR symbols as module matrices, and the arithmetic of how large they must be printed.

A symbol is made for being read at dawn, wet and bent, by a cheap scanner: error correction Q (a
quarter of it may be lost), the smallest version that holds the payload in alphanumeric mode, the
mask of lowest penalty (ISO/IEC 18004:2015, 7.8.3, with the quiet zone counted as light), a full
quiet zone, and modules that are never under 0.40 mm (GS1 General Specifications: 0.396 mm).
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import zxingcpp

from gearroom.core.rules.sentences import InvalidValue, say

QUIET_MODULES = 4
"""Light modules on each side of a symbol (ISO/IEC 18004:2015, 5.3.8)."""

SMALLEST_MODULE_MM = 0.40
LARGEST_MODULE_MM = 0.90
"""Beyond this a larger symbol reads no further on a label; the room is better given to words."""

PRINTER_DPI = 600
"""Modules are whole dots of such a printer, so that they are printed equally wide."""

MM_PER_INCH = 25.4


class SymbolTooSmall(InvalidValue):
    """The room is too small for modules of 0.40 mm.

    `have_mm` and `needed_mm` are the side of the square, quiet zone included.
    """

    def __init__(self, *, have_mm: float, needed_mm: float) -> None:
        self.have_mm = have_mm
        self.needed_mm = needed_mm
        super().__init__(
            say(
                "The code needs a square of %(needed)s mm, including the blank margin around "
                "it, but has only %(have)s mm. Choose a larger label, or use a shorter web "
                "address.",
                needed=round(needed_mm, 1),
                have=round(have_mm, 1),
            )
        )


@dataclass(frozen=True, eq=False)
class Symbol:
    """A QR symbol: `dark` is a square of booleans, row by row from the top, no quiet zone."""

    payload: str
    dark: npt.NDArray[np.bool_]

    @property
    def modules(self) -> int:
        """Modules a side, quiet zone excluded: 21, 25, … 177."""
        return len(self.dark)

    @property
    def modules_with_quiet(self) -> int:
        return self.modules + 2 * QUIET_MODULES

    def runs(self) -> list[tuple[int, int, int]]:
        """Return the dark modules as horizontal runs (column, row, length), top to bottom."""
        edged = np.zeros((self.modules, self.modules + 2), np.int8)
        edged[:, 1:-1] = self.dark
        steps = np.diff(edged, axis=1)
        rows, starts = np.nonzero(steps == 1)
        ends = np.nonzero(steps == -1)[1]
        return list(zip(starts.tolist(), rows.tolist(), (ends - starts).tolist(), strict=True))


def encode(payload: str) -> Symbol:
    """Return the QR symbol of `payload`: correction Q, smallest version, lowest-penalty mask.

    Raises ValueError for an empty payload and for one longer than version 40 holds.
    """
    if not payload:
        raise ValueError("A symbol needs something to say.")
    barcode = zxingcpp.create_barcode(payload, zxingcpp.BarcodeFormat.QRCode, ec_level="Q")
    image = zxingcpp.write_barcode_to_image(barcode, scale=1, add_quiet_zones=False)
    return Symbol(payload, np.array(image) == 0)


def smallest_side_mm(modules_with_quiet: int, dpi: int = PRINTER_DPI) -> float:
    """Return the smallest side, quiet zone included, at a whole number of dots a module."""
    return modules_with_quiet * smallest_dots(dpi) * MM_PER_INCH / dpi


def smallest_dots(dpi: int) -> int:
    """Return the fewest dots a module that make it at least 0.40 mm."""
    return math.ceil(SMALLEST_MODULE_MM * dpi / MM_PER_INCH)


def module_mm(
    modules_with_quiet: int,
    side_mm: float,
    dpi: int = PRINTER_DPI,
    largest_mm: float = LARGEST_MODULE_MM,
) -> float:
    """Return the largest module that fits in a square of `side_mm`, in whole dots of `dpi`.

    Raises SymbolTooSmall, with the side that would do, where that is under 0.40 mm.
    """
    dot_mm = MM_PER_INCH / dpi
    dots = math.floor(min(side_mm / modules_with_quiet, largest_mm) / dot_mm + 1e-6)
    if dots < smallest_dots(dpi):
        raise SymbolTooSmall(have_mm=side_mm, needed_mm=smallest_side_mm(modules_with_quiet, dpi))
    return dots * dot_mm


def symbol_svg(address: str) -> str:
    """A QR symbol as SVG, quiet zone included, without a size of its own."""
    symbol = encode(address)
    side, quiet = symbol.modules_with_quiet, QUIET_MODULES
    path = "".join(f"M{x + quiet} {y + quiet}h{run}v1h-{run}z" for x, y, run in symbol.runs())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" '
        f'shape-rendering="crispEdges"><path fill="#fff" d="M0 0h{side}v{side}h-{side}z"/>'
        f'<path d="{path}"/></svg>'
    )
