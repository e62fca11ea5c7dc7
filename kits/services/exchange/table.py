"""What a table is: its columns, its rows as somebody may see them, and how a row of a file is done.

A table that can be imported says which row on record a row of a file is (`identify`), and does what
differs (`save`), by the services that pages use. What belongs together in one act is a group.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid, Stale
from gearroom.core.models import Room
from gearroom.core.rules.sentences import Sentence
from kits.rules.exchange.tables import FileRow, RowChange, Values
from kits.rules.exchange.values import Column, Value
from kits.rules.overview.workbook import fold
from kits.services.exchange.names import Names

Row = dict[str, Value]
OnRecord = Mapping[Hashable, Values]
"""The rows on record, by their keys."""


@dataclass(frozen=True)
class Filters:
    """What an export is narrowed to: a gear room, and days."""

    room: Room | None = None
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True)
class Group:
    """Rows that are done in one act: what of them differs, and all of them. `whole`: what the file
    does not have of the group is to go."""

    changes: Sequence[RowChange]
    rows: Sequence[FileRow]
    whole: bool = False


@dataclass(frozen=True)
class Importer:
    """How a table is imported. `identify` makes of the values of a row those by which it
    is known on record, and raises Invalid; `key` tells rows apart. `group` says what is
    done in one act; with `may_be_whole` whoever imports may say that the file has all of it, and
    `always_whole` says so for them; then a row that the file
    lacks goes where it `can_go`. `differs` is asked of a group without a change."""

    use_case: str
    identify: Callable[[Names, Row, OnRecord], Row]
    key: Callable[[Values], Hashable]
    save: Callable[[Act, Names, Group], None]
    group: Callable[[Values], Hashable] | None = None
    may_be_whole: bool = False
    always_whole: bool = False
    can_go: Callable[[Values], bool] = lambda values: True
    differs: Callable[[Names, Sequence[FileRow]], bool] = lambda names, rows: False


@dataclass(frozen=True)
class Table:
    """A table. `name_of` says which row it is to people; `narrowed_by` are the `Filters` that it
    takes."""

    name: str
    title: Sentence
    meaning: Sentence
    columns: Sequence[Column]
    rows: Callable[[Actor, Filters], Iterable[Row]]
    use_case: str = "export_tables"
    narrowed_by: frozenset[str] = frozenset()
    name_of: Callable[[Values], str] = lambda values: str(values.get("name") or "")
    importer: Importer | None = None
    by_name: Mapping[str, Column] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {column.name: column for column in self.columns})


def row_by_row(
    save: Callable[[Act, Names, RowChange, FileRow], None],
) -> Callable[[Act, Names, Group], None]:
    """How a table is saved whose rows are acts of their own: `save` does one of the file's."""

    def save_rows(act: Act, names: Names, group: Group) -> None:
        for change in group.changes:
            if change.row is not None:
                save(act, names, change, change.row)

    return save_rows


def number_of(values: Values) -> Hashable:
    """The number by which a row is on record; None of a new one."""
    return values.get("number")


def by_number_or_name(names: Names, row: Row, on_record: OnRecord) -> Row:
    """The row with the number by which it is on record: the one that it gives, else that of the
    only one of its name; without one where it is new. Raises Invalid."""
    number, name = row.get("number"), fold(str(row["name"]))
    if number is None:
        same = [pk for pk, values in on_record.items() if fold(str(values["name"])) == name]
        if len(same) > 1:
            raise Invalid(
                _("There is more than one of this name. Enter the number of the one you mean."),
                field="number",
            )
        return {**row, "number": int(str(same[0]))} if same else row
    if number not in on_record:
        raise Invalid(
            _("There is none with the number %(number)s here. Leave the number of a new one empty.")
            % {"number": number},
            field="number",
        )
    return row


def as_read(act: Act, change: RowChange, facts: Iterable[str]) -> Act:
    """The act, refused where the row is no longer as it was compared."""
    old = change.old

    def match(now: Any) -> None:
        if old is not None and now is not None and any(getattr(now, x) != old[x] for x in facts):
            raise Stale(
                "changed-since",
                _("Somebody has just changed this. Check the file again."),
            )

    return replace(act, match=match)
