"""A kit's contents as its page shows them: each line beside what the list asks for, and a bar of
how full each section is."""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.rules.ledger import Filled, Level
from kits.services.kits.filling import Fill, KitFilling, Row
from kits.services.overview.kits_overview import SectionOverview

CELL, HEIGHT = 24, 24
"""The width of an item's part of a bar, and the bar's height, in its own units."""
_LEVELS = {Level.FULL: 1.0, Level.LOW: 0.5}


@dataclass(frozen=True)
class Cell:
    """An item's part of a bar, filled from below up to `y`; `tone` as of a verdict."""

    x: int
    y: int
    height: int
    tone: str


@dataclass(frozen=True)
class Pouch:
    """A section with what is in it, but for what is below its target; `bar` is empty where its
    list asks for nothing."""

    section: SectionOverview
    rows: Sequence[Row]
    fill: Fill | None
    bar: Sequence[Cell]

    @property
    def width(self) -> int:
        """Of its bar."""
        return CELL * len(self.bar)


def pouches(sections: Sequence[SectionOverview], filling: KitFilling) -> list[Pouch]:
    """The sections of a kit as its page shows them."""
    keys = [each.place.section_key for each in sections]
    return [
        Pouch(
            each,
            filling.rows.get(key, []),
            fill := filling.fills.get(key),
            _bar(fill) if fill else (),
        )
        for each, key in zip(sections, keys, strict=True)
    ]


def _bar(fill: Fill) -> list[Cell]:
    return [_cell(each, n * CELL) for n, each in enumerate(fill.lines)]


def _cell(filled: Filled, x: int) -> Cell:
    height = round(HEIGHT * _share(filled))
    tone = "ok" if filled.complete else "stop" if filled.below_minimum else "short"
    return Cell(x, HEIGHT - height, height, tone)


def _share(filled: Filled) -> float:
    if filled.line.thing.by_eye:
        return _LEVELS.get(filled.level, 0.0) if filled.level else 0.0
    return min(1.0, filled.good / filled.line.target)
