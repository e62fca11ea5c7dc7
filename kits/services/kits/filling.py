"""What is in a kit beside what its list asks for: what is below its target first, then by
section."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.grouping import grouped
from kits.models import Kit
from kits.rules.ledger import Filled, Units, filling
from kits.services.kits.history import Content, Contents
from kits.services.ledger import LooseLevel, readiness


@dataclass(frozen=True)
class Row:
    """An item in a kit: what the list asks for and what is there (`filled`; None for what is not
    on the list), the batches on record, and for what is loose and not on the list its level."""

    name: str
    section: str
    filled: Filled | None
    batches: Sequence[Content] = ()
    level: str = ""

    @property
    def complete(self) -> bool:
        """Whether the list asks for no more of it."""
        return self.filled is None or self.filled.complete


@dataclass(frozen=True)
class Fill:
    """How full a section is: its lines, how many of them are complete, and in units what counts
    of what the list asks for."""

    lines: Sequence[Filled]
    complete: int
    good: int
    target: int


@dataclass(frozen=True)
class KitFilling:
    """What is below its target, worst first; what else is in each section, by its key; and how full
    each section is."""

    below: Sequence[Row]
    rows: dict[str, list[Row]]
    fills: dict[str, Fill]


def of_kit(kit: Kit, inside: Contents, through: date) -> KitFilling:
    """What is in a kit beside its list, as it is judged through a day."""
    state = readiness.states([kit.pk])[kit.pk]
    filled = filling(state, through)
    batches = {(row.lot.pk, row.section.section_key): row for row in inside.lines}

    def contents_of(units: Iterable[Units]) -> list[Content]:
        keys = ((x.batch.id, x.place) for x in units)
        return [batches[key] for key in keys if key in batches]

    listed = [
        Row(each.line.thing.name, each.line.section, each, contents_of(each.units))
        for each in filled.lines
    ]
    others = [x for x in inside.lines if x.section.section_key in state.away]
    others += contents_of(filled.others)
    rows = [
        *(row for row in listed if row.complete),
        *(Row(x.lot.item.name, x.section.section_key, None, [x]) for x in others),
        *_loose(inside.levels, filled.lines),
    ]
    below = [row for row in listed if not row.complete]
    below.sort(key=lambda row: row.filled is not None and not row.filled.below_minimum)
    sections = grouped((each.line.section, each) for each in filled.lines)
    return KitFilling(
        below,
        grouped((row.section, row) for row in rows),
        {key: _fill(lines) for key, lines in sections.items()},
    )


def _loose(levels: Iterable[LooseLevel], lines: Iterable[Filled]) -> Iterable[Row]:
    """What is loose in a section and not on its list."""
    listed = {(each.line.section, each.line.thing.id) for each in lines}
    for place, item, level in levels:
        if (place.section_key, item.pk) not in listed:
            yield Row(item.name, place.section_key, None, level=str(level))


def _fill(lines: Sequence[Filled]) -> Fill:
    counted = [each for each in lines if not each.line.thing.by_eye]
    return Fill(
        lines,
        sum(each.complete for each in lines),
        sum(min(each.good, each.line.target) for each in counted),
        sum(each.line.target for each in counted),
    )
