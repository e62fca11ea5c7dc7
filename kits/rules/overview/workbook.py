"""The start workbook: a school's shelves, things, kit lists, kits and what is where, as rows that
somebody filled in. Reading it is pure: cells in, a plan and every fault out.

Sheets and columns are known by their order, so that their headings may be in any language; the
words for choices come with the call, since they are too.
"""

import re
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from gearroom.core.rules.plain_text import plain
from kits.rules.ledger import Criticality, Kind, PrintedDateError, last_good_day

COLUMNS: dict[str, tuple[str, ...]] = {
    "shelves": ("name",),
    "things": (
        "name", "kind", "base_unit", "needs_date", "sterile", "by_eye", "check_every_days",
        "check_question", "gtin", "units_per_pack",
    ),
    "lists": (
        "list", "people", "days", "section", "thing", "carry", "never_below", "matters", "reason",
    ),
    "kits": ("name", "list", "responsible"),
    "where": ("place", "section", "thing", "units", "number", "expiry"),
}  # fmt: skip
"""The sheets in order, each with its columns in order."""

MOST_ROWS = 2000
"""Rows of one sheet; a school has some dozens."""

_NEEDED: dict[str, frozenset[str]] = {
    "shelves": frozenset({"name"}),
    "things": frozenset({"name", "kind", "base_unit"}),
    "lists": frozenset({"list", "section", "thing", "carry"}),
    "kits": frozenset({"name", "list"}),
    "where": frozenset({"place", "thing", "units"}),
}


@dataclass(frozen=True)
class RowFault:
    """What is wrong with a cell. `code`: missing, not-a-number, not-a-choice, not-a-date, twice,
    not-there, more-than-carry. `row` counts from 1 as the sheet shows it, its
    heading being row 1."""

    sheet: str
    row: int
    column: str
    code: str
    typed: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class ThingRow:
    """A thing to add."""

    name: str
    kind: Kind
    base_unit: str
    needs_date: bool
    sterile: bool
    by_eye: bool
    check_every_days: int | None
    check_question: str
    gtin: str
    units_per_pack: int


@dataclass(frozen=True)
class LineRow:
    """A line of a kit list."""

    thing: str
    carry: int
    never_below: int
    criticality: Criticality
    reason: str


@dataclass(frozen=True)
class ListRow:
    """A kit list to make: its sections in order, each a name and its lines, and the hazards that it
    is made for."""

    name: str
    people: int
    days: int
    sections: Mapping[str, Sequence[LineRow]]
    hazards: Sequence[str] = ()


@dataclass(frozen=True)
class KitRow:
    """A kit to add."""

    name: str
    list: str
    responsible: str


@dataclass(frozen=True)
class WhereRow:
    """Units found in a kit's section or on a shelf; `row` is its row on the sheet."""

    row: int
    place: str
    section: str
    thing: str
    units: int
    number: str
    expiry: date | None


@dataclass(frozen=True)
class Known:
    """What is in the book already, by folded name, so that rows may speak of it."""

    shelves: frozenset[str] = frozenset()
    things: frozenset[str] = frozenset()
    lists: frozenset[str] = frozenset()
    kits: frozenset[str] = frozenset()
    people: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Workbook:
    """All that a workbook says, and what is wrong with it; nothing of it is taken in while
    something is wrong."""

    shelves: Sequence[str] = ()
    things: Sequence[ThingRow] = ()
    lists: Sequence[ListRow] = ()
    kits: Sequence[KitRow] = ()
    where: Sequence[WhereRow] = ()
    faults: Sequence[RowFault] = ()


@dataclass
class _Reader:
    """One sheet's rows with the means to read their cells, noting what is wrong."""

    sheet: str
    words: Mapping[str, str]
    today: date
    faults: list[RowFault] = field(default_factory=list)
    row: int = 0
    cells: dict[str, Any] = field(default_factory=dict)

    def rows(self, sheet: Sequence[Sequence[Any]]) -> Iterable[int]:
        """Each row that says something and has what it needs; its cells are then at hand."""
        columns = COLUMNS[self.sheet]
        for number, values in enumerate(sheet[:MOST_ROWS], start=2):
            padded = [*values, *([None] * len(columns))][: len(columns)]
            self.cells = dict(zip(columns, padded, strict=True))
            self.row = number
            if not any(self.text(column) for column in columns):
                continue
            missing = [c for c in columns if c in _NEEDED[self.sheet] and not self.text(c)]
            for column in missing:
                self.fault(column, "missing")
            if not missing:
                yield number

    def fault(self, column: str, code: str, choices: Iterable[str] = ()) -> None:
        self.faults.append(
            RowFault(self.sheet, self.row, column, code, self.text(column)[:40], tuple(choices))
        )

    def refer(self, column: str, there: Container[str]) -> None:
        """Note where a name is not one of those that are there."""
        if fold(self.text(column)) not in there:
            self.fault(column, "not-there")

    def text(self, column: str) -> str:
        if (value := self.cells[column]) is None:
            return ""
        if isinstance(value, float) and value.is_integer():
            value = int(value)  # a spreadsheet keeps every number as a float
        return " ".join(plain(str(value)).split())

    def number(self, column: str, otherwise: int | None = None) -> int | None:
        """A whole number; `otherwise` where nothing is said; None where something wrong is."""
        if not (text := self.text(column)):
            return otherwise
        if not re.fullmatch(r"[0-9]{1,6}", text):
            self.fault(column, "not-a-number")
            return None
        return int(text)

    def choice(self, column: str, values: Sequence[str], otherwise: str = "") -> str:
        """One of some values, by its code or its word; `otherwise` where nothing is said."""
        text = self.text(column).casefold()
        if not text:
            return otherwise
        for value in values:
            if text in (value.casefold(), self.words.get(value, value).casefold()):
                return value
        self.fault(column, "not-a-choice", [self.words.get(value, value) for value in values])
        return otherwise

    def yes(self, column: str, otherwise: bool) -> bool:
        return self.choice(column, ("yes", "no"), "yes" if otherwise else "no") == "yes"

    def day(self, column: str) -> date | None:
        if not (text := self.text(column)):
            return None
        try:
            return last_good_day(text, today=self.today)
        except PrintedDateError:
            self.fault(column, "not-a-date")
            return None


def read(
    sheets: Mapping[str, Sequence[Sequence[Any]]],
    *,
    known: Known,
    today: date,
    words: Mapping[str, str],
) -> Workbook:
    """What the rows below each sheet's heading say. Cells are text, whole or decimal numbers
    or None; `words` are the choices (kinds, how much it matters, yes, no) as people write
    them, by code. Names are compared without regard to case."""
    readers = {name: _Reader(name, words, today) for name in COLUMNS}
    shelves = _shelves(readers["shelves"], sheets.get("shelves", ()), known)
    things = _things(readers["things"], sheets.get("things", ()), known)
    all_things = known.things | {fold(row.name) for row in things}
    lists = _lists(readers["lists"], sheets.get("lists", ()), known, all_things)
    kits = _kits(readers["kits"], sheets.get("kits", ()), known, lists)
    places = known.shelves | known.kits | {fold(x) for x in shelves} | {fold(k.name) for k in kits}
    where = _where(readers["where"], sheets.get("where", ()), places, all_things)
    faults = [fault for name in COLUMNS for fault in readers[name].faults]
    return Workbook(shelves, things, lists, kits, where, faults)


def fold(name: str) -> str:
    """A name as it is compared."""
    return " ".join(name.split()).casefold()


def _new(reader: _Reader, column: str, names: set[str], there: frozenset[str]) -> bool:
    """Whether a name is neither in the book nor on a row before; a second one is a fault, one in
    the book is passed over."""
    if (name := fold(reader.text(column))) in names:
        reader.fault(column, "twice")
        return False
    names.add(name)
    return name not in there


def _shelves(reader: _Reader, rows: Sequence[Sequence[Any]], known: Known) -> list[str]:
    names: set[str] = set()
    return [
        reader.text("name") for _ in reader.rows(rows) if _new(reader, "name", names, known.shelves)
    ]


def _things(reader: _Reader, rows: Sequence[Sequence[Any]], known: Known) -> list[ThingRow]:
    names: set[str] = set()
    things = []
    kinds = [kind.value for kind in Kind]
    for _ in reader.rows(rows):
        kind = Kind(reader.choice("kind", kinds, Kind.CONSUMABLE))
        by_eye = reader.yes("by_eye", False)
        dated = not by_eye and kind in (Kind.CONSUMABLE, Kind.MEDICINE)
        row = ThingRow(
            name=reader.text("name"),
            kind=kind,
            base_unit=reader.text("base_unit"),
            needs_date=reader.yes("needs_date", dated),
            sterile=reader.yes("sterile", False),
            by_eye=by_eye,
            check_every_days=reader.number("check_every_days"),
            check_question=reader.text("check_question"),
            gtin=reader.text("gtin"),
            units_per_pack=reader.number("units_per_pack", 1) or 1,
        )
        if _new(reader, "name", names, known.things):
            things.append(row)
    return things


def _lists(
    reader: _Reader, rows: Sequence[Sequence[Any]], known: Known, things: frozenset[str]
) -> list[ListRow]:
    names: dict[str, str] = {}
    serves: dict[str, tuple[int, int]] = {}
    sections: dict[str, dict[str, list[LineRow]]] = {}
    for _ in reader.rows(rows):
        name = fold(reader.text("list"))
        carry = reader.number("carry") or 0
        never_below = reader.number("never_below", 0) or 0
        if never_below > carry:
            reader.fault("never_below", "more-than-carry")
        reader.refer("thing", things)
        matters = reader.choice("matters", [c.value for c in Criticality], Criticality.ROUTINE)
        people, days = reader.number("people", 0) or 0, reader.number("days", 0) or 0
        if name in known.lists:
            continue
        names.setdefault(name, reader.text("list"))
        before = serves.get(name, (0, 0))
        serves[name] = (before[0] or people, before[1] or days)
        pouch = sections.setdefault(name, {}).setdefault(reader.text("section"), [])
        if any(fold(line.thing) == fold(reader.text("thing")) for line in pouch):
            reader.fault("thing", "twice")
            continue
        pouch.append(
            LineRow(
                thing=reader.text("thing"),
                carry=carry,
                never_below=never_below,
                criticality=Criticality(matters),
                reason=reader.text("reason"),
            )
        )
    return [
        ListRow(names[key], serves[key][0] or 1, serves[key][1] or 1, sections[key])
        for key in names
    ]


def _kits(
    reader: _Reader, rows: Sequence[Sequence[Any]], known: Known, lists: Sequence[ListRow]
) -> list[KitRow]:
    names: set[str] = set()
    follow = known.lists | {fold(row.name) for row in lists}
    kits = []
    for _ in reader.rows(rows):
        reader.refer("list", follow)
        reader.refer("responsible", known.people | {""})
        if _new(reader, "name", names, known.kits):
            kits.append(
                KitRow(reader.text("name"), reader.text("list"), reader.text("responsible"))
            )
    return kits


def _where(
    reader: _Reader,
    rows: Sequence[Sequence[Any]],
    places: frozenset[str],
    things: frozenset[str],
) -> list[WhereRow]:
    where = []
    for number in reader.rows(rows):
        reader.refer("place", places)
        reader.refer("thing", things)
        where.append(
            WhereRow(
                row=number,
                place=reader.text("place"),
                section=reader.text("section"),
                thing=reader.text("thing"),
                units=reader.number("units") or 0,
                number=reader.text("number"),
                expiry=reader.day("expiry"),
            )
        )
    return where
