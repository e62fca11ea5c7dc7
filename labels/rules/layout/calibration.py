"""Putting right what a printer gets wrong: where its print begins and how long it makes a mm."""

from dataclasses import dataclass

from gearroom.core.rules.sentences import say
from labels.rules.layout.sheets import Sheet, SheetError


@dataclass(frozen=True)
class Offset:
    """A printer's correction: what is drawn at p lands on the paper at p.

    `dx_mm`, `dy_mm`: move the print right and down. `scale_x`, `scale_y`: stretch it about the
    page's top left corner (a printer that draws 100 mm as 99 mm needs 100 / 99).
    """

    dx_mm: float = 0.0
    dy_mm: float = 0.0
    scale_x: float = 1.0
    scale_y: float = 1.0

    def __post_init__(self) -> None:
        if abs(self.dx_mm) > 10 or abs(self.dy_mm) > 10:
            raise SheetError(
                say(
                    "The correction can be at most 10 mm: check the paper size in the printer "
                    "settings."
                )
            )
        if not (0.95 <= self.scale_x <= 1.05 and 0.95 <= self.scale_y <= 1.05):
            raise SheetError(
                say("The scale must be between 0.95 and 1.05: print at 100%%, not “fit to page”.")
            )


@dataclass(frozen=True)
class Marks:
    """What the test page has to measure: a cross and two rulers that begin at it.

    The cross stands `cross_mm` from the left and from the top edge of the paper.
    """

    cross_mm: float
    across_mm: float
    down_mm: float

    def offset(self, left_mm: float, top_mm: float, across_mm: float, down_mm: float) -> Offset:
        """Return the correction for what was measured on paper.

        `left_mm`, `top_mm`: from the paper's edges to the cross. `across_mm`, `down_mm`: the whole
        length of the rulers. Raises SheetError for what no printer does.
        """
        if across_mm <= 0 or down_mm <= 0:
            raise SheetError(say("Measure the whole length of each ruler in millimetres."))
        # The printer draws p at k·p + b. Drawing s·p + d instead, with s = 1/k and d = −b/k, lands
        # on p; the cross at c was found at left = k·c + b, so that d = c − s·left.
        scale_x, scale_y = self.across_mm / across_mm, self.down_mm / down_mm
        return Offset(
            dx_mm=round(self.cross_mm - left_mm * scale_x, 2),
            dy_mm=round(self.cross_mm - top_mm * scale_y, 2),
            scale_x=round(scale_x, 4),
            scale_y=round(scale_y, 4),
        )


def marks(sheet: Sheet) -> Marks:
    """Return the marks of `sheet`'s test page: 100 mm rulers, or what a small label holds."""
    cross = 4.0 if sheet.roll else 15.0

    def ruler(side: float) -> float:
        return min(100.0, (side - 1.5 * cross) // 10 * 10)

    return Marks(cross, ruler(sheet.page_width_mm), ruler(sheet.page_height_mm))
