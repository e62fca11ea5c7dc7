"""The first kit as somebody writes it down: a row for each item, of what is there and what should
be. Pure: rows in, questions or a plan out, of the shape that a start workbook has."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import count

from gearroom.core.rules.sentences import Sentence
from kits.rules.ledger import Criticality, Kind, PrintedDateError, last_good_day
from kits.rules.overview.workbook import (
    KitRow,
    LineRow,
    ListRow,
    ThingRow,
    WhereRow,
    Workbook,
    fold,
)
from kits.rules.recalls import batch_numbers

MOST_ROWS = 120


@dataclass(frozen=True)
class TypedRow:
    """A row as it was typed. `undated`, `unnumbered`: the pack shows no expiry date, no batch
    number; `unit`, `gtin` and `pack` (units in a pack of that code) are of the item."""

    name: str
    there: str = ""
    carry: str = ""
    expiry: str = ""
    number: str = ""
    kind: Kind = Kind.CONSUMABLE
    matters: Criticality = Criticality.ROUTINE
    sterile: bool = False
    undated: bool = False
    unnumbered: bool = False
    left_out: bool = False
    unit: str = ""
    gtin: str = ""
    pack: str = ""


class Ask(StrEnum):
    """What a row leaves open."""

    NAME = "name"
    COUNT = "count"
    NOTHING = "nothing"
    DATE = "date"
    NUMBER = "number"


@dataclass(frozen=True)
class Question:
    """What is asked about a row: `says` and `readings` of a date that cannot be read, or can in
    several ways."""

    row: int
    ask: Ask
    says: Sentence | None = None
    readings: tuple[date, ...] = ()


@dataclass(frozen=True)
class KnownItem:
    """What is on record of an item that a row names."""

    kind: Kind
    sterile: bool
    needs_date: bool
    by_eye: bool = False


@dataclass(frozen=True)
class Names:
    """What the kit, its list and its one section are called, whom it serves, and against what."""

    kit: str
    list: str
    section: str
    unit: str
    people: int
    days: int
    hazards: tuple[str, ...] = ()


def counted(text: str) -> int | None:
    """A number of units; 0 for none typed, None for what is no such number."""
    if not text.strip():
        return 0
    return int(text) if re.fullmatch(r"\s*[0-9]{1,4}\s*", text) else None


def free_name(like: str, taken: Collection[str]) -> str:
    """`like`, or with the next number at its end that is free: KIT-02 after KIT-01, Group kit 2
    after Group kit. `taken` are folded names."""
    if fold(like) not in taken:
        return like
    match = re.fullmatch(r"(.*?)([0-9]{0,6})", like, re.DOTALL)
    stem, digits = match.groups() if match else (like, "")
    stem = stem if digits else f"{like} "
    numbers = count(int(digits or 1) + 1)
    names = (f"{stem}{number:0{len(digits)}}" for number in numbers)
    return next(name for name in names if fold(name) not in taken)


def questions(
    rows: Sequence[TypedRow], known: Mapping[str, KnownItem], today: date
) -> list[Question]:
    """What the rows leave open, in their order; at most one question a row. A batch number is asked
    only of what is there and of which it matters (see `batch_numbers`)."""
    found = []
    for at, row in enumerate(rows):
        if not row.left_out and (question := _question(at, row, known, today)):
            found.append(question)
    return found


def _question(
    at: int, row: TypedRow, known: Mapping[str, KnownItem], today: date
) -> Question | None:
    there, carry = counted(row.there), counted(row.carry)
    if not row.name:
        return Question(at, Ask.NAME)
    if there is None or carry is None or counted(row.pack) is None:
        return Question(at, Ask.COUNT)
    if not there and not carry:
        return Question(at, Ask.NOTHING)
    item = _item(row, known)
    if row.expiry:
        try:
            last_good_day(row.expiry, today=today)
        except PrintedDateError as error:
            return Question(at, Ask.DATE, error.says, error.readings)
    elif there and item.needs_date and not row.undated:
        return Question(at, Ask.DATE)
    asked = batch_numbers.is_asked(item.kind, sterile=item.sterile, criticality=row.matters)
    if there and asked and not row.number and not row.unnumbered:
        return Question(at, Ask.NUMBER)
    return None


def _item(row: TypedRow, known: Mapping[str, KnownItem]) -> KnownItem:
    """The item of a row: as it is on record, else as the row has it. What is used up needs a date,
    unless somebody says that none is printed; of medicines and sterile things that is no answer."""
    if (item := known.get(fold(row.name))) is not None:
        return item
    used_up = row.kind in (Kind.CONSUMABLE, Kind.MEDICINE)
    must = row.kind is Kind.MEDICINE or row.sterile
    return KnownItem(row.kind, row.sterile, must or (used_up and not row.undated))


def plan(
    rows: Sequence[TypedRow], known: Mapping[str, KnownItem], names: Names, today: date
) -> Workbook:
    """What to add for rows that leave nothing open. Rows of one name are one line of the list, of
    several batches. The minimum of a line is all of it for a must-have, one for what is important,
    none otherwise."""
    kept = [row for row in rows if not row.left_out]
    by_name: dict[str, list[TypedRow]] = {}
    for row in kept:
        by_name.setdefault(fold(row.name), []).append(row)
    return Workbook(
        things=[
            _thing(same, known, names.unit) for name, same in by_name.items() if name not in known
        ],
        lists=[
            ListRow(
                names.list,
                names.people,
                names.days,
                {names.section: [_line(same) for same in by_name.values()]},
                names.hazards,
            )
        ],
        kits=[KitRow(names.kit, names.list, "")],
        where=[
            WhereRow(
                at,
                names.kit,
                names.section,
                row.name,
                counted(row.there) or 0,
                row.number,
                last_good_day(row.expiry, today=today) if row.expiry else None,
            )
            for at, row in enumerate(kept)
            if counted(row.there) and not _by_eye(row, known)
        ],
    )


def _by_eye(row: TypedRow, known: Mapping[str, KnownItem]) -> bool:
    item = known.get(fold(row.name))
    return item is not None and item.by_eye


def _thing(same: Sequence[TypedRow], known: Mapping[str, KnownItem], unit: str) -> ThingRow:
    first = same[0]
    code = next((row for row in same if row.gtin), first)
    item = _item(first, known)
    return ThingRow(
        name=first.name,
        kind=item.kind,
        base_unit=first.unit or unit,
        needs_date=any(_item(row, known).needs_date or row.expiry for row in same),
        sterile=item.sterile,
        by_eye=False,
        check_every_days=None,
        check_question="",
        gtin=code.gtin,
        units_per_pack=counted(code.pack) or 1,
    )


def _line(same: Sequence[TypedRow]) -> LineRow:
    first = same[0]
    carry = max(counted(row.carry) or 0 for row in same) or sum(
        counted(row.there) or 0 for row in same
    )
    least = {Criticality.MUST_HAVE: carry, Criticality.IMPORTANT: 1, Criticality.ROUTINE: 0}
    return LineRow(first.name, carry, least[first.matters], first.matters, "")
