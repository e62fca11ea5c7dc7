"""A file taken in: every change shown first, then all of it or nothing.

Showing it is doing it and taking it back: what would be refused is known by having been tried, by
the very services that do it afterwards. `plan` stands for what was shown; where it is no longer
what would be done, nothing is.
"""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Problem, Refused, Unacceptable
from gearroom.core.rules.grouping import grouped
from gearroom.core.rules.sentences import InvalidValue
from kits.rules.exchange import texts
from kits.rules.exchange.formulas import restored
from kits.rules.exchange.tables import (
    FileRow,
    RowChange,
    alike,
    compared,
    read_table,
)
from kits.rules.exchange.values import Cell, Value, as_text, written
from kits.services.exchange.names import Names
from kits.services.exchange.table import Filters, Group, Importer, OnRecord, Row, Table
from kits.services.text.wording import in_words

MOST_BYTES = 8 * 1024 * 1024
MOST_REFUSED = 1000
"""Faults that are named: a file of other columns than it seems has one in every cell."""


@dataclass(frozen=True)
class CellShown:
    """A cell that changes; `old` is empty in a new row."""

    column: str
    old: str
    new: str


@dataclass(frozen=True)
class ChangeShown:
    """What is done with a row. `what`: "new", "changed", "removed" or "moved" (it stands in another
    place among others). `row` is its number in the file, None where the file no longer has it."""

    row: int | None
    what: str
    name: str
    cells: Sequence[CellShown]


@dataclass(frozen=True)
class FaultShown:
    """Why a row is refused; row 0: the file. `column` is empty where it is about the whole row."""

    row: int
    column: str
    says: str


@dataclass(frozen=True)
class Imported:
    """What a file changes, what is refused of it, and how many rows are as on record. `done`: it
    was done. `plan` stands for all of this."""

    table: str
    done: bool
    changes: Sequence[ChangeShown]
    refused: Sequence[FaultShown]
    unchanged: int
    plan: str


def cells_of(content: bytes, table: Table) -> list[list[Cell]]:
    """The cells of a text file. Raises Invalid."""
    headings = [name for column in table.columns for name in (column.name, in_words(column.title))]
    try:
        return [list(row) for row in texts.rows_of(texts.decoded(content), headings)]
    except InvalidValue as error:
        raise Invalid(in_words(error.says), field="file") from error


def import_file(
    act: Act,
    table: Table,
    cells: Sequence[Sequence[Cell]],
    *,
    dry_run: bool,
    whole: bool = False,
    plan: str = "",
) -> Imported:
    """Take a table's file in, or with `dry_run` say what that would do. `whole`: the file has all
    there is of what it names, where the table takes that.

    Raises NotAllowed; Unacceptable (`import-refused`) where rows are refused, Refused
    (`import-changed`) where `plan` is given and is not what would be done now.
    """
    if (importer := table.importer) is None:
        raise Unacceptable("export-only", in_words(table.meaning))
    act.actor.require("import_tables")
    act.actor.require(importer.use_case)
    if whole and not importer.may_be_whole:
        raise Invalid(_("This table does not take this. Leave it out."), field="whole")
    try:
        texts.require_bounds(cells)
    except InvalidValue as error:
        raise Invalid(in_words(error.says), field="file") from error
    with transaction.atomic():
        result = _tried(act, table, importer, cells, whole=whole or importer.always_whole)
        if dry_run or result.refused or (plan and plan != result.plan):
            transaction.set_rollback(True)
    if dry_run:
        return result
    if plan and plan != result.plan:
        raise Refused(
            "import-changed",
            _("Somebody has changed something meanwhile, so this would no longer do what you saw. "
              "Check the file again."),
        )  # fmt: skip
    if result.refused:
        raise Unacceptable(
            "import-refused",
            _("Nothing was changed, because some rows cannot be imported. Correct them and send "
              "the file again."),
            refused=[vars(fault) for fault in result.refused[:200]],
        )  # fmt: skip
    return Imported(**{**vars(result), "done": True})


# ------------------------------------------------------------------------------------------- inside
def _tried(
    act: Act, table: Table, importer: Importer, cells: Sequence[Sequence[Cell]], *, whole: bool
) -> Imported:
    names = Names(act.actor)
    read = read_table(
        table.columns,
        cells,
        titles={in_words(c.title).casefold(): c.name for c in table.columns},
        today=clock.today(act.room.time_zone if act.room else settings.TIME_ZONE),
    )
    faults = [FaultShown(f.row, f.column, in_words(f.says)) for f in read.faults]
    on_record = {importer.key(row): row for row in table.rows(act.actor, Filters())}
    rows = list(_identified(read.rows, importer, table, names, on_record, faults))
    changes, wrong = compared(rows, on_record, importer.key, table.columns)
    faults += [FaultShown(f.row, f.column, in_words(f.says)) for f in wrong]
    groups = _groups(importer, rows, changes, on_record, names, whole=whole, faults=faults)
    done = [change for group in groups for change in group.changes]
    if not faults:
        _save_all(act, names, importer, groups, faults)
    shown = [_shown(table, change) for change in done]
    faults.sort(key=lambda fault: fault.row)
    if (more := len(faults) - MOST_REFUSED) > 0:
        says = _("There are %(count)s more errors like these. Correct these first.")
        faults[MOST_REFUSED:] = [FaultShown(0, "", says % {"count": more})]
    text = json.dumps([[vars(c) | {"cells": [vars(x) for x in c.cells]} for c in shown],
                       [vars(f) for f in faults]])  # fmt: skip
    return Imported(
        table.name,
        False,
        shown,
        faults,
        len(rows) - sum(change.row is not None for change in done),
        hashlib.sha256(text.encode()).hexdigest(),
    )


def _identified(
    rows: Sequence[FileRow],
    importer: Importer,
    table: Table,
    names: Names,
    on_record: OnRecord,
    faults: list[FaultShown],
) -> Iterator[FileRow]:
    """The rows as they are known on record, with what they refer to as it is written there."""
    for row in rows:
        try:
            values = importer.identify(names, dict(row.values), on_record)
            old = on_record.get(importer.key(values), {})
            values = {
                name: _reference(table, names, name, value, old.get(name))
                for name, value in values.items()
            }
        except Problem as problem:
            faults.append(FaultShown(row.number, _field(problem), problem.detail))
        else:
            yield FileRow(row.number, values)


def _reference(table: Table, names: Names, name: str, value: Any, old: Any) -> Any:
    column = table.by_name.get(name)
    if column is None or not column.refers or not value or alike(value, old):
        return value
    return names.canonical(column.refers, str(value), field=name)


def _field(problem: Problem) -> str:
    return next(iter(problem.facts.get("errors", {})), "")


def _groups(
    importer: Importer,
    rows: Sequence[FileRow],
    changes: Sequence[RowChange],
    on_record: OnRecord,
    names: Names,
    *,
    whole: bool,
    faults: list[FaultShown],
) -> list[Group]:
    """What is done in one act each: a row, or all that belongs together where any of it differs."""
    if (of := importer.group) is None:
        return [Group([change], [change.row]) for change in changes if change.row is not None]
    in_file = grouped((of(row.values), row) for row in rows)
    changed = grouped((of(c.row.values), c) for c in changes if c.row is not None)
    if whole:
        keys = {importer.key(row.values) for row in rows}
        for key, old in on_record.items():
            if key not in keys and of(old) in in_file and importer.can_go(old):
                changed[of(old)].append(RowChange(None, old))
    groups = []
    for name, of_group in in_file.items():
        try:
            if not changed[name] and not faults and importer.differs(names, of_group):
                changed[name].append(RowChange(of_group[0], of_group[0].values))
        except Problem as problem:
            faults.append(FaultShown(of_group[0].number, _field(problem), problem.detail))
        if changed[name]:
            groups.append(Group(changed[name], of_group, whole))
    return groups


def _save_all(
    act: Act,
    names: Names,
    importer: Importer,
    groups: Sequence[Group],
    faults: list[FaultShown],
) -> None:
    for group in groups:
        try:
            with transaction.atomic():
                importer.save(act, names, group)
        except Problem as problem:
            faults.append(FaultShown(group.rows[0].number, _field(problem), problem.detail))


def _as_read(value: Value) -> str:
    """A value as people read it: without the sign that keeps a spreadsheet from working it out."""
    return restored(as_text(written(value)))


def _shown(table: Table, change: RowChange) -> ChangeShown:
    row, old = change.row, change.old
    values: Row = {**(old or {}), **(row.values if row else {})}
    if row is None:
        what = "removed"
    elif old is None:
        what = "new"
    else:
        what = "changed" if change.cells else "moved"
    cells = [
        CellShown(cell.column, _as_read(cell.old), _as_read(cell.new)) for cell in change.cells
    ]
    return ChangeShown(row.number if row else None, what, table.name_of(values), cells)
