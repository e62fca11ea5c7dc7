"""A table of a file held against the table as it is on record: rows read, rows compared."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from gearroom.core.rules.plain_text import plain
from gearroom.core.rules.sentences import InvalidValue, Sentence, say
from kits.rules.exchange.values import Cell, Column, Value, as_text, read_cell

Values = Mapping[str, Value]
"""A row by its columns' names; of a file, only the columns that it has."""


@dataclass(frozen=True)
class Fault:
    """What is wrong with a row (0: with the file), and in which column. Rows count from 1 as a
    spreadsheet shows them, the headings being row 1."""

    row: int
    column: str
    says: Sentence | str


@dataclass(frozen=True)
class FileRow:
    """A row of a file."""

    number: int
    values: Values


@dataclass(frozen=True)
class ReadTable:
    """The rows of a file that could be read, and what is wrong with the others."""

    rows: Sequence[FileRow] = ()
    faults: Sequence[Fault] = ()


@dataclass(frozen=True)
class CellChange:
    """A cell that is another than on record."""

    column: str
    old: Value
    new: Value


@dataclass(frozen=True)
class RowChange:
    """A row that is not as on record. `row` is None where the file no longer has it; `old` is None
    where it is new; `cells` are those that differ."""

    row: FileRow | None
    old: Values | None
    cells: Sequence[CellChange] = field(default_factory=tuple)


def read_table(
    columns: Sequence[Column],
    cells: Sequence[Sequence[Cell]],
    *,
    titles: Mapping[str, str],
    today: date,
) -> ReadTable:
    """The rows of a file below its headings, which are the names of columns or their `titles` (by
    title, in small letters). A column that the file does not have is left as it is on record."""
    if not cells:
        return ReadTable(faults=[Fault(0, "", say("The file is empty."))])
    by_name = {column.name: column for column in columns}
    there, faults = _headings(cells[0], by_name, titles)
    rows = []
    for number, row in enumerate(cells[1:], start=2):
        if not any(as_text(cell).strip() for cell in row):
            continue
        values: dict[str, Value] = {}
        wrong = []
        if any(as_text(cell).strip() for cell in row[len(cells[0]) :]):
            wrong.append(Fault(number, "", say("This row has more cells than there are headings.")))
        for at, column in there.items():
            cell = row[at] if at < len(row) else None
            try:
                value = read_cell(column, cell, today=today)
                if not (column.keeps and value in (None, "", ())):
                    values[column.name] = value
            except InvalidValue as error:
                wrong.append(Fault(number, column.name, error.says))
        faults += wrong
        if not wrong:
            rows.append(FileRow(number, values))
    return ReadTable(rows, faults)


def _headings(
    row: Sequence[Cell], by_name: Mapping[str, Column], titles: Mapping[str, str]
) -> tuple[dict[int, Column], list[Fault]]:
    there: dict[int, Column] = {}
    faults = []
    for at, cell in enumerate(row):
        if not (heading := as_text(cell).strip()):
            continue
        name = heading.casefold()
        column = by_name.get(name) or by_name.get(titles.get(name, ""))
        if column is None:
            says = say(
                "There is no column “%(heading)s” here. The columns are: %(names)s.",
                heading=heading[:40],
                names=", ".join(by_name),
            )
            faults.append(Fault(1, "", says))
        elif column in there.values():
            says = say("The column “%(heading)s” appears twice.", heading=heading[:40])
            faults.append(Fault(1, column.name, says))
        else:
            there[at] = column
    for column in by_name.values():
        if column.needed and column not in there.values():
            says = say("The column “%(heading)s” is missing.", heading=column.name)
            faults.append(Fault(1, column.name, says))
    return there, faults


def alike(one: Value, other: Value) -> bool:
    """Whether two values are the same but for what no file keeps: space around a text, and how
    its lines end."""
    if isinstance(one, str) and isinstance(other, str):
        return _tidy(one) == _tidy(other)
    return one == other and isinstance(one, bool) == isinstance(other, bool)


def _tidy(text: str) -> str:
    return plain("\n".join(text.splitlines()).strip())


def compared(
    rows: Sequence[FileRow],
    on_record: Mapping[Hashable, Values],
    key: Callable[[Values], Hashable],
    columns: Sequence[Column],
) -> tuple[list[RowChange], list[Fault]]:
    """What of a file is not as on record, and what cannot be: the same row twice, a change in a
    column that is only there to be read. Rows are the same where their keys are; one without a key
    (None) is new."""
    changes, faults = list[RowChange](), list[Fault]()
    seen: dict[Hashable, int] = {}
    by_name = {column.name: column for column in columns}
    for row in rows:
        of = key(row.values)
        if of is not None and of in seen:
            says = say("This is the same as row %(row)s. Remove one of them.", row=seen[of])
            faults.append(Fault(row.number, "", says))
            continue
        seen[of] = row.number
        old = on_record.get(of) if of is not None else None
        cells = [
            CellChange(name, None if old is None else old.get(name), value)
            for name, value in row.values.items()
            if not alike(value, by_name[name].empty if old is None else old.get(name))
        ]
        only_read = [each for each in cells if by_name[each.column].only_read]
        for each in only_read:
            says = say("A file cannot change this column. Leave it as it was.")
            faults.append(Fault(row.number, each.column, says))
        if cells and not only_read:
            changes.append(RowChange(row, old, cells))
        elif old is None and not only_read:
            changes.append(RowChange(row, None, ()))
    return changes, faults
