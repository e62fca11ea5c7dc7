"""Where everything on a label goes: the symbol, the words, the band, in millimetres.

Wide cells have the symbol at the left and words beside it; others have words above it and the code
below. All words shrink together until they fit, never under the legible minimum; then they are
shortened, then fields are left out (`contents.FIELDS`). The symbol is never given up: where it
does not fit with modules of 0.40 mm the cell is refused with the size that would do.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from gearroom.core.rules.sentences import InvalidValue, Sentence, Speak, say
from labels.rules.layout import contents, typesetting
from labels.rules.layout.contents import Field, Label
from labels.rules.layout.sheets import Cell, Hole, Sheet
from labels.rules.layout.symbols import (
    LARGEST_MODULE_MM,
    PRINTER_DPI,
    QUIET_MODULES,
    Symbol,
    module_mm,
    smallest_side_mm,
)
from labels.rules.layout.typesetting import Face, Typeface

BESIDE_FROM_RATIO = 1.2
"""Cells this much wider than high have words beside the symbol."""

_GAP_MM = 0.4
_SIDE_GAP_MM = 0.6
_MOST_AIR_MM = 1.6
_BAND_PAD = 0.24
_SCALES = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.0)


class CellTooSmall(InvalidValue):
    """The cell cannot hold the symbol and the code. `needed_mm`: (width, height) that would do."""

    def __init__(self, have_mm: tuple[float, float], needed_mm: tuple[float, float]) -> None:
        self.have_mm, self.needed_mm = have_mm, needed_mm
        sentence = say(
            "A label of %(have)s is too small for this code with squares of 0.40 mm: choose "
            "one of at least %(needed)s, or use a shorter web address.",
            have=_by(*have_mm),
            needed=_by(*needed_mm),
        )
        super().__init__(sentence)


def _by(width_mm: float, height_mm: float) -> Sentence:
    return say("%(width)s × %(height)s mm", width=round(width_mm, 1), height=round(height_mm, 1))


@dataclass(frozen=True)
class Space:
    """The cell that a label is laid out for, in mm. `dpi`: modules are whole dots of this."""

    width_mm: float
    height_mm: float
    inset_x_mm: float = 1.0
    inset_y_mm: float = 1.0
    hole: Hole | None = None
    dpi: int = PRINTER_DPI

    @classmethod
    def of(cls, sheet: Sheet, dpi: int = PRINTER_DPI) -> "Space":
        return cls(
            sheet.cell_width_mm,
            sheet.cell_height_mm,
            sheet.inset_x_mm,
            sheet.inset_y_mm,
            sheet.hole,
            dpi,
        )

    @property
    def inner(self) -> Cell:
        """Where ink may go: inside the insets and below the hole."""
        top = max(self.inset_y_mm, self.hole.depth_mm if self.hole else 0.0)
        return Cell(
            self.inset_x_mm,
            top,
            self.width_mm - 2 * self.inset_x_mm,
            self.height_mm - top - self.inset_y_mm,
        )


@dataclass(frozen=True)
class Line:
    """One line of text. `box` is its line box; `em_mm` its type size; baseline from the top."""

    field: str
    text: str
    bold: bool
    em_mm: float
    baseline_mm: float
    box: Cell
    inverse: bool = False


@dataclass(frozen=True)
class Layout:
    """A label, ready to be drawn; millimetres from the cell's top left corner.

    `symbol_box` includes the quiet zone. `bands` are black; `inverse` lines stand white on them.
    """

    width_mm: float
    height_mm: float
    symbol: Symbol
    symbol_box: Cell
    module_mm: float
    lines: tuple[Line, ...]
    bands: tuple[Cell, ...] = ()
    hole: Hole | None = None

    @property
    def first_module_mm(self) -> tuple[float, float]:
        """The top left corner of the symbol itself, inside its quiet zone."""
        quiet = QUIET_MODULES * self.module_mm
        return self.symbol_box.left_mm + quiet, self.symbol_box.top_mm + quiet


@dataclass(frozen=True)
class _Set:
    """A field set in type: its lines at one size. A band is higher than its line."""

    field: Field
    face: Face
    em_mm: float
    lines: tuple[str, ...]
    pad_mm: float = 0.0

    @property
    def line_mm(self) -> float:
        if self.field.banner:
            return self.face.cap_height * self.em_mm
        return self.face.line_height * self.em_mm

    @property
    def height_mm(self) -> float:
        return len(self.lines) * self.line_mm + 2 * self.pad_mm


def lay_out(
    label: Label,
    symbol: Symbol,
    space: Space,
    typeface: Typeface,
    *,
    organisation: str = "",
    code_text: str,
    speak: Speak = str,
) -> Layout:
    """Return the layout of `label` in `space`. `code_text` is the code as people see it, or what
    stands in its place on a preview. Raises CellTooSmall."""
    texts = contents.words(label, organisation, code_text, speak)
    chosen: list[tuple[Field, str]] = []
    for field in contents.FIELDS[type(label)]:
        if space.width_mm >= field.from_mm[0] and space.height_mm >= field.from_mm[1]:
            text = typesetting.printable(texts[field.name], typeface.face(field.bold))
            if text:
                chosen.append((field, text))
    inner = space.inner
    smallest = smallest_side_mm(symbol.modules_with_quiet, space.dpi)
    room_beside = inner.width_mm - smallest - _SIDE_GAP_MM
    code = chosen[-1]
    if " " in code[1]:
        chosen[-1] = code = (replace(code[0], most_lines=2), code[1])
    code_em, code_lines = typesetting.fit_lines(
        code[1],
        typeface.bold,
        width_mm=inner.width_mm,
        largest_mm=0.0,
        most_lines=code[0].most_lines,
    )
    fits_beside = room_beside >= _widest(code, typeface) and inner.height_mm >= smallest
    code_height = code_em * typeface.bold.line_height * len(code_lines)
    fits_below = inner.width_mm >= smallest and inner.height_mm >= smallest + code_height
    if fits_beside and (inner.width_mm >= BESIDE_FROM_RATIO * inner.height_mm or not fits_below):
        return _beside(label, chosen, symbol, space, typeface)
    if fits_below:
        return _below(label, chosen, symbol, space, typeface)
    raise _too_small(space, smallest, code, typeface)


def _widest(code: tuple[Field, str], typeface: Typeface) -> float:
    """Return the width that the code's line (or a preview's widest word) needs."""
    face = typeface.bold
    return max(face.width(word) for word in code[1].split(" ")) * face.smallest_mm


def _too_small(
    space: Space, smallest: float, code: tuple[Field, str], typeface: Typeface
) -> CellTooSmall:
    """Say which cell would do: the one of the two arrangements that asks for less."""
    face = typeface.bold
    around_x = space.width_mm - space.inner.width_mm
    around_y = space.height_mm - space.inner.height_mm
    code_mm = _widest(code, typeface)
    code_height = face.smallest_mm * face.line_height * code[0].most_lines
    below = (max(smallest, code_mm) + around_x, smallest + code_height + around_y)
    beside = (smallest + _SIDE_GAP_MM + code_mm + around_x, smallest + around_y)
    needed = min(
        (below, beside),
        key=lambda side: max(side[0] - space.width_mm, 0) + max(side[1] - space.height_mm, 0),
    )
    # Rounded up to tenths, so that the size named is one that does.
    up = tuple(int(side * 10 + 1) / 10 for side in needed)
    return CellTooSmall(
        (space.width_mm, space.height_mm),
        (max(up[0], space.width_mm), max(up[1], space.height_mm)),
    )


def _beside(
    label: Label,
    chosen: Sequence[tuple[Field, str]],
    symbol: Symbol,
    space: Space,
    typeface: Typeface,
) -> Layout:
    inner = space.inner
    modules = symbol.modules_with_quiet
    share, _ = contents.SYMBOL_SHARE.get(type(label), contents.USUAL_SHARE)
    if len(chosen) == 1:
        share = 1.0 - (_widest(chosen[0], typeface) + _SIDE_GAP_MM) / inner.width_mm
    smallest = smallest_side_mm(modules, space.dpi)
    side = min(inner.height_mm, max(smallest, share * inner.width_mm))
    module = module_mm(modules, side + 1e-6, space.dpi, LARGEST_MODULE_MM)
    side = module * modules
    box = Cell(inner.left_mm, inner.top_mm + (inner.height_mm - side) / 2, side, side)
    left = box.right_mm + _SIDE_GAP_MM
    column = Cell(left, inner.top_mm, inner.right_mm - left, inner.height_mm)
    lines, bands = _stack(chosen, column, space, typeface, centred=False)
    return Layout(space.width_mm, space.height_mm, symbol, box, module, lines, bands, space.hole)


def _below(
    label: Label,
    chosen: Sequence[tuple[Field, str]],
    symbol: Symbol,
    space: Space,
    typeface: Typeface,
) -> Layout:
    inner = space.inner
    modules = symbol.modules_with_quiet
    *above, code = chosen
    _, share = contents.SYMBOL_SHARE.get(type(label), contents.USUAL_SHARE)
    smallest = smallest_side_mm(modules, space.dpi)
    set_code = _set(code, 1.0, inner.width_mm, space, typeface)
    if smallest + set_code.height_mm > inner.height_mm:
        set_code = _set(code, 0.0, inner.width_mm, space, typeface)
    most = inner.height_mm - set_code.height_mm
    wanted = most if not above else max(smallest, share * inner.height_mm)
    module = module_mm(modules, min(inner.width_mm, most, wanted) + 1e-6, space.dpi)
    side = module * modules
    if above:
        top = inner.bottom_mm - set_code.height_mm - side
    else:
        top = inner.top_mm + (inner.height_mm - set_code.height_mm - side) / 2
    box = Cell(inner.left_mm + (inner.width_mm - side) / 2, top, side, side)
    lines, bands = _stack(
        above,
        Cell(inner.left_mm, inner.top_mm, inner.width_mm, max(0.0, top - inner.top_mm)),
        space,
        typeface,
        centred=True,
    )
    area = Cell(inner.left_mm, box.bottom_mm, inner.width_mm, set_code.height_mm)
    code_lines, _ = _placed([set_code], area, air_mm=0.0, centred=True)
    return Layout(
        space.width_mm,
        space.height_mm,
        symbol,
        box,
        module,
        (*lines, *code_lines),
        bands,
        space.hole,
    )


def _set(
    chosen: tuple[Field, str], scale: float, width_mm: float, space: Space, typeface: Typeface
) -> _Set:
    """Set one field at `scale` of its largest size; 0 is the smallest that it may have."""
    field, text = chosen
    face = typeface.face(field.bold)
    shorter = min(space.width_mm, space.height_mm)
    largest = min(field.largest_mm, field.share * shorter) * scale
    if not field.banner:
        em, lines = typesetting.fit_lines(
            text, face, width_mm=width_mm, largest_mm=largest, most_lines=field.most_lines
        )
        return _Set(field, face, em, tuple(lines))
    pad = _BAND_PAD * face.cap_height
    widest = width_mm / (face.width(text) + 2 * pad)
    least = face.smallest_mm
    if field.cap_mm and space.width_mm >= field.cap_from_mm:
        least = field.cap_mm / face.cap_height
    em = max(min(max(largest, least), widest), face.smallest_mm)
    return _Set(field, face, em, (text,), pad * em)


def _stack(
    chosen: Sequence[tuple[Field, str]],
    area: Cell,
    space: Space,
    typeface: Typeface,
    *,
    centred: bool,
) -> tuple[tuple[Line, ...], tuple[Cell, ...]]:
    """Set fields one under the other in `area`: as large as all fit, then shortened, then fewer."""
    rest = list(chosen)
    for scale in _SCALES:
        fields = [_set(pair, scale, area.width_mm, space, typeface) for pair in rest]
        if _height(fields) <= area.height_mm:
            break
    while fields and _height(fields) > area.height_mm:
        longest = max(range(len(rest)), key=lambda place: len(fields[place].lines))
        if len(fields[longest].lines) > 1:
            fewer = replace(rest[longest][0], most_lines=len(fields[longest].lines) - 1)
            rest[longest] = (fewer, rest[longest][1])
        else:
            least = min(range(len(rest)), key=lambda place: rest[place][0].keep)
            del rest[least]
        fields = [_set(pair, 0.0, area.width_mm, space, typeface) for pair in rest]
    fields = _grown(fields, rest, area, space, typeface, [each for each in _SCALES if each > scale])
    spare = area.height_mm - _height(fields)
    air = min(_MOST_AIR_MM, spare / (len(fields) + 1)) if fields else 0.0
    return _placed(fields, area, air_mm=_GAP_MM + air, centred=centred)


def _grown(
    fields: Sequence[_Set],
    chosen: Sequence[tuple[Field, str]],
    area: Cell,
    space: Space,
    typeface: Typeface,
    scales: Sequence[float],
) -> list[_Set]:
    """Let single fields, the smallest first, take what room is left."""
    grown = list(fields)
    spare = area.height_mm - _height(grown)
    for place in sorted(range(len(grown)), key=lambda place: grown[place].em_mm):
        for scale in scales:
            larger = _set(chosen[place], scale, area.width_mm, space, typeface)
            more = larger.height_mm - grown[place].height_mm
            if more <= spare and larger.em_mm > grown[place].em_mm:
                grown[place] = larger
                spare -= more
                break
    return grown


def _height(fields: Sequence[_Set]) -> float:
    return sum(field.height_mm for field in fields) + _GAP_MM * (len(fields) - 1)


def _placed(
    fields: Sequence[_Set], area: Cell, *, air_mm: float, centred: bool
) -> tuple[tuple[Line, ...], tuple[Cell, ...]]:
    """Place set fields in the middle of the area's height, `air_mm` between them."""
    lines: list[Line] = []
    bands: list[Cell] = []
    total = sum(field.height_mm for field in fields) + air_mm * (len(fields) - 1)
    top = area.top_mm + max(0.0, (area.height_mm - total) / 2)
    for each in fields:
        face, em = each.face, each.em_mm
        if each.field.banner:
            width = min(area.width_mm, face.width(each.lines[0]) * em + 2 * each.pad_mm)
            left = area.left_mm + ((area.width_mm - width) / 2 if centred else 0.0)
            bands.append(Cell(left, top, width, each.height_mm))
        baseline = top + each.pad_mm
        baseline += (face.cap_height if each.field.banner else face.ascent) * em
        for number, text in enumerate(each.lines):
            width = face.width(text) * em
            beside = (area.width_mm - width) / 2 if centred else 0.0
            left = bands[-1].left_mm + each.pad_mm if each.field.banner else area.left_mm + beside
            offset = number * each.line_mm
            lines.append(
                Line(
                    field=each.field.name,
                    text=text,
                    bold=each.field.bold,
                    em_mm=em,
                    baseline_mm=baseline + offset,
                    box=Cell(left, top + each.pad_mm + offset, width, each.line_mm),
                    inverse=each.field.banner,
                )
            )
        top += each.height_mm + air_mm
    return tuple(lines), tuple(bands)
