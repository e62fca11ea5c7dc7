"""A kit list as a table that somebody edits: rows of texts, as they stand in the inputs.

What has no place on record yet has an id that starts with NEW. Nothing is lost where two people
save: what each of them changed stays, and what both changed is shown beside what was typed.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

NEW = "+"

Values = Mapping[str, str | tuple[str, ...]]
"""What the inputs of a row hold, by name; several choices of one as a tuple."""


class Note(StrEnum):
    """What a page says beside a row."""

    ADDED = "added"
    CHANGED = "changed"
    REMOVED = "removed"
    BOTH = "both"
    """Somebody else saved the list meanwhile: what they did to the row; BOTH of them changed it."""
    GUESSED = "guessed"
    """It was pasted, and what was meant is likely and not certain."""


@dataclass(frozen=True)
class Row:
    """A row: an item in a section, a section itself, or what is not carried. `gone`: removed, and
    may be put back until the draft is saved. `beside`: what else there is to see, by `note`."""

    id: str
    values: Values = field(default_factory=dict)
    gone: bool = False
    note: Note | None = None
    beside: Values = field(default_factory=dict)

    @property
    def empty(self) -> bool:
        """Whether nothing that says what it is was typed."""
        return not (self.values.get("item") or self.values.get("thing") or self.values.get("need"))


@dataclass(frozen=True)
class Group:
    """A section with its rows."""

    head: Row
    rows: tuple[Row, ...] = ()

    @property
    def name(self) -> str:
        """What the section is called."""
        return str(self.head.values.get("name", ""))


@dataclass(frozen=True)
class Table:
    """All that a draft says: of itself, by section, and what it leaves out."""

    facts: Row
    groups: tuple[Group, ...] = ()
    left_out: tuple[Row, ...] = ()

    @property
    def parts(self) -> Iterator[Row]:
        """Every row of it."""
        yield self.facts
        for group in self.groups:
            yield from (group.head, *group.rows)
        yield from self.left_out


# ----------------------------------------------------------------------------------------- editing
def new_ids(table: Table) -> Iterator[str]:
    """Ids that no row of a table has."""
    numbers = [int(row.id[1:]) for row in table.parts if row.id[:1] == NEW and row.id[1:].isdigit()]
    number = max(numbers, default=0)
    while True:
        number += 1
        yield f"{NEW}{number}"


def with_row(table: Table, group: str, values: Values) -> Table:
    """The table with one more row at the end of a section."""
    row = Row(next(new_ids(table)), values)
    return _groups(table, lambda g: replace(g, rows=(*g.rows, row)) if g.head.id == group else g)


def with_group(table: Table, values: Values, line: Values) -> Table:
    """The table with one more section, which has one row."""
    ids = new_ids(table)
    group = Group(Row(next(ids), values), (Row(next(ids), line),))
    return replace(table, groups=(*table.groups, group))


def with_left_out(table: Table) -> Table:
    """The table with one more row of what is not carried."""
    row = Row(next(new_ids(table)), {"thing": "", "need": ""})
    return replace(table, left_out=(*table.left_out, row))


def changed(table: Table, id: str, change: Callable[[Row], Row]) -> Table:
    """The table with one of its rows changed."""

    def of(row: Row) -> Row:
        return change(row) if row.id == id else row

    return Table(
        of(table.facts),
        tuple(Group(of(g.head), tuple(map(of, g.rows))) for g in table.groups),
        tuple(map(of, table.left_out)),
    )


def moved(table: Table, id: str, step: int) -> Table:
    """The table with a row or a section one place further up (`step` -1) or down (1). The first row
    of a section goes to the end of the section above, and the last to the start of the next."""
    if any(group.head.id == id for group in table.groups):
        order = _swapped([g.head.id for g in table.groups], id, step)
        groups = {group.head.id: group for group in table.groups}
        return replace(table, groups=tuple(groups[each] for each in order))
    if any(row.id == id for row in table.left_out):
        order = _swapped([row.id for row in table.left_out], id, step)
        rows = {row.id: row for row in table.left_out}
        return replace(table, left_out=tuple(rows[each] for each in order))
    return _row_moved(table, id, step)


def _swapped(order: list[str], id: str, step: int) -> list[str]:
    at = order.index(id)
    order.insert(min(max(at + step, 0), len(order) - 1), order.pop(at))
    return order


def _row_moved(table: Table, id: str, step: int) -> Table:
    rows = [list(group.rows) for group in table.groups]
    for number, of_group in enumerate(rows):
        at = next((n for n, row in enumerate(of_group) if row.id == id), None)
        if at is None:
            continue
        if 0 <= at + step < len(of_group):
            of_group.insert(at + step, of_group.pop(at))
        elif 0 <= number + step < len(rows):
            there = rows[number + step]
            there.insert(len(there) if step < 0 else 0, of_group.pop(at))
        break
    groups = zip(table.groups, rows, strict=True)
    return replace(table, groups=tuple(replace(g, rows=tuple(of)) for g, of in groups))


def sent_to(table: Table, id: str, group: str) -> Table:
    """The table with a row at the end of another section."""
    row = next(row for g in table.groups for row in g.rows if row.id == id)

    def change(g: Group) -> Group:
        rest = tuple(each for each in g.rows if each.id != id)
        return replace(g, rows=(*rest, row) if g.head.id == group else rest)

    return _groups(table, change) if any(g.head.id == group for g in table.groups) else table


def appended(table: Table, other: Table, *, again: bool = False) -> Table:
    """The table with the rows of another, in the sections of the same name, else in new ones. What
    is there already is added only where it is asked for `again`."""
    ids = new_ids(table)
    groups = list(table.groups)
    for more in other.groups:
        at = next((n for n, g in enumerate(groups) if _same(g.name, more.name)), None)
        if at is None:
            groups.append(Group(replace(more.head, id=next(ids))))
            at = len(groups) - 1
        there = {_folded(row, "item") for row in groups[at].rows if not (row.gone or again)}
        rows = (row for row in more.rows if _folded(row, "item") not in there)
        kept = tuple(row for row in groups[at].rows if not row.empty or row.note)
        added = tuple(replace(row, id=next(ids)) for row in rows)
        groups[at] = replace(groups[at], rows=(*kept, *added))
    said = {_left_out_as(row) for row in table.left_out if not (row.gone or again)}
    left_out = (row for row in other.left_out if _left_out_as(row) not in said)
    return replace(
        table,
        groups=tuple(groups),
        left_out=(*table.left_out, *(replace(row, id=next(ids)) for row in left_out)),
    )


def _groups(table: Table, change: Callable[[Group], Group]) -> Table:
    return replace(table, groups=tuple(map(change, table.groups)))


def _same(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def _folded(row: Row, name: str) -> str:
    return " ".join(str(row.values.get(name, "")).split()).casefold()


def _left_out_as(row: Row) -> tuple[str, str]:
    return _folded(row, "thing"), _folded(row, "need")


# ----------------------------------------------------------------------------------------- merging
def merged(mine: Table, read: Table, now: Table) -> Table:
    """What somebody typed into a table as they `read` it, with what others saved since (`now`).

    What only one of them changed is as that one has it; where both changed a row, it is as typed,
    with the other beside it.
    """
    before = {row.id: row for row in read.parts}
    theirs = {row.id: row for row in now.parts}

    def of(row: Row) -> Row:
        return _merged(row, before.get(row.id), theirs.get(row.id))

    groups = [Group(of(g.head), tuple(map(of, g.rows))) for g in mine.groups]
    known = {row.id for row in mine.parts} | set(before)
    for group in now.groups:
        added = tuple(replace(r, note=Note.ADDED) for r in group.rows if r.id not in known)
        at = next((n for n, g in enumerate(groups) if g.head.id == group.head.id), None)
        if at is None and group.head.id not in known:
            groups.append(Group(replace(group.head, note=Note.ADDED), added))
        elif at is not None and added:
            head = groups[at].head
            back = replace(head, gone=False, note=Note.CHANGED) if head.gone else head
            groups[at] = Group(back, (*groups[at].rows, *added))
    left_out = tuple(replace(r, note=Note.ADDED) for r in now.left_out if r.id not in known)
    return Table(of(mine.facts), tuple(map(_kept, groups)), (*map(of, mine.left_out), *left_out))


def _kept(group: Group) -> Group:
    """A section that others removed, there again where a row of it is to stay."""
    stays = group.head.note is Note.REMOVED and any(not row.gone for row in group.rows)
    return replace(group, head=replace(group.head, gone=False)) if stays else group


def _merged(mine: Row, before: Row | None, theirs: Row | None) -> Row:
    if before is None:
        return mine
    untouched = mine.values == before.values and not mine.gone
    if theirs is None:
        return replace(mine, gone=untouched or mine.gone, note=Note.REMOVED)
    if theirs.values in (before.values, mine.values):
        return mine
    if untouched:
        return replace(theirs, note=Note.CHANGED, beside=before.values)
    return replace(mine, note=Note.BOTH, beside=theirs.values)
