"""The lid card and the paper sign-out sheet: what they say, and how their lists flow.

The lid card lies in the lid of a kit: what is in which pouch, who answers for the kit, what to keep
in mind, and which version of the kit list that is, of which day. It has no expiry dates, since
those change with every restock and the card does not.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.sentences import Sentence, Speak, say
from labels.rules.layout import typesetting
from labels.rules.layout.typesetting import Typeface

CAUTIONS = (
    say("This card shows what should be in the kit. It is not medical advice."),
    say(
        "The organisation’s medical adviser, its protocols, local law and each person’s "
        "training decide who may use which items."
    ),
    say("Check every pack before use: seal, date, damage."),
    say("Local rules apply to medicines, sharps and clinical waste."),
    say("Used something, or found something open? Tell us when you hand the kit back."),
)


@dataclass(frozen=True)
class CardItem:
    """A line of the kit list. `quantity` in base units; None for loose items."""

    name: str
    quantity: int | None


@dataclass(frozen=True)
class Pouch:
    """A section of the kit and the items in it."""

    name: str
    things: tuple[CardItem, ...]


@dataclass(frozen=True)
class LidCard:
    """A kit's lid card. `responsible` and `deputy` are names as they should be printed;
    `kit_list` the list it shows, with its version's number and the day that was published."""

    code: str
    kit: str
    room: str
    responsible: str
    deputy: str
    pouches: tuple[Pouch, ...]
    kit_list: str = ""
    version: int = 0
    published: date | None = None
    training: bool = False
    cautions: tuple[Sentence | str, ...] = CAUTIONS


@dataclass(frozen=True)
class SignOutKit:
    """A kit that the sign-out sheet has a row for."""

    code: str
    name: str


@dataclass(frozen=True)
class ListEntry:
    """A line of a list as it flows: `lead` stands in the margin before it (a quantity)."""

    text: str
    lead: str = ""
    heading: bool = False


@dataclass(frozen=True)
class Column:
    """Where a list may flow, in mm from the page's top left corner. `page` counts from 0."""

    page: int
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Row:
    """A printed line of a list: `lead_right_mm` is the right edge of its lead."""

    page: int
    text: str
    left_mm: float
    baseline_mm: float
    em_mm: float
    bold: bool
    lead: str = ""
    lead_right_mm: float = 0.0
    rule_to_mm: float = 0.0


def entries(pouches: Sequence[Pouch], speak: Speak = str) -> tuple[ListEntry, ...]:
    """Return the lines of a lid card: each pouch's name and under it quantity and item."""
    lines: list[ListEntry] = []
    for pouch in pouches:
        lines.append(ListEntry(pouch.name, heading=True))
        for thing in pouch.things:
            lead = speak(say("loose")) if thing.quantity is None else f"{thing.quantity} ×"
            lines.append(ListEntry(thing.name, lead))
    return tuple(lines)


LEADING = 1.25
"""Line height of lists, in em."""

_LEAD_EM = 3.3
_HEADING_SPACE_EM = 0.55


def flow(
    lines: Sequence[ListEntry],
    columns: Sequence[Column],
    typeface: Typeface,
    em_mm: float,
    speak: Speak = str,
    lead_em: float = _LEAD_EM,
) -> tuple[Row, ...] | None:
    """Set `lines` at `em_mm` down one column after another, or return None if they do not fit.
    Leads stand in a margin of `lead_em`.

    A heading is never the last of a column; a column that a pouch runs into begins with the
    pouch's name again.
    """
    rows: list[Row] = []
    queue = iter(columns)
    column = next(queue)
    used = 0.0
    heading = ""
    line_mm = LEADING * em_mm

    def set_heading(text: str, top: float) -> float:
        face = typeface.bold
        text = typesetting.printable(text, face)
        size, broken = typesetting.fit_lines(
            text, face, width_mm=column.width_mm, largest_mm=em_mm * 1.1, most_lines=1
        )
        top += _HEADING_SPACE_EM * em_mm if top else 0.0
        baseline = column.top_mm + top + em_mm
        right = column.left_mm + column.width_mm
        first = broken[0] if broken else ""
        rows.append(Row(column.page, first, column.left_mm, baseline, size, True, rule_to_mm=right))
        return top + line_mm * 1.15

    for line in lines:
        if line.heading:
            heading = line.text
            space = (_HEADING_SPACE_EM * em_mm if used else 0.0) + line_mm * 2.15
            if used + space > column.height_mm:
                if (following := next(queue, None)) is None:
                    return None
                column, used = following, 0.0
            used = set_heading(heading, used)
            continue
        indent = lead_em * em_mm
        text = typesetting.printable(line.text, typeface.regular)
        wrapped = typesetting.wrap(
            text, typeface.regular, (column.width_mm - indent) / em_mm, breaking=True
        )
        broken = wrapped or [""]
        if used + len(broken) * line_mm > column.height_mm:
            if (following := next(queue, None)) is None:
                return None
            column, used = following, 0.0
            if heading:
                used = set_heading(speak(say("%(pouch)s, continued", pouch=heading)), 0.0)
            if used + len(broken) * line_mm > column.height_mm:
                return None
        rows += _line_rows(line, broken, column, used, em_mm, lead_em)
        used += len(broken) * line_mm
    return tuple(rows)


def _line_rows(
    line: ListEntry,
    broken: Sequence[str],
    column: Column,
    used_mm: float,
    em_mm: float,
    lead_em: float,
) -> Iterator[Row]:
    """Give the rows of an entry that is not a heading, `used_mm` down its column."""
    left = column.left_mm + lead_em * em_mm
    for number, piece in enumerate(broken):
        yield Row(
            column.page,
            piece,
            left,
            column.top_mm + used_mm + number * LEADING * em_mm + em_mm,
            em_mm,
            False,
            lead="" if number else line.lead,
            lead_right_mm=left - 0.35 * em_mm,
        )
