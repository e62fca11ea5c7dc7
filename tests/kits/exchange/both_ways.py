"""A table out to a file and in from it again."""

from gearroom.core.acts import Act
from kits.rules.exchange.values import Cell
from kits.services.exchange import exporting, importing, registry
from kits.services.exchange.importing import Imported
from kits.services.exchange.table import Filters, Table
from labels.reading.front import workbooks

FORMS = ("csv", "xlsx")


def exported(act: Act, table: Table, form: str = "csv") -> bytes:
    """A table as a file."""
    return b"".join(exporting.export(act.actor, table, Filters(), form).content)


def cells(content: bytes, table: Table) -> list[list[Cell]]:
    """The cells of a file, as a reader gives them."""
    if not content.startswith(b"PK"):
        return importing.cells_of(content, table)
    return [list(row) for row in workbooks.tables(content, sheets=2, rows=20_002, columns=60)[0]]


def imported(act: Act, name: str, content: bytes | str, **how: object) -> Imported:
    """What importing a file would do, or did with `dry_run=False`."""
    table = registry.TABLES[name]
    raw = content.encode() if isinstance(content, str) else content
    options = {"dry_run": True, **how}
    return importing.import_file(act, table, cells(raw, table), **options)  # type: ignore[arg-type]  # as asked for


def what_changes(act: Act, form: str) -> dict[str, Imported]:
    """By table, what importing what was just exported would change; nothing is expected."""
    results = {}
    for name, table in registry.TABLES.items():
        content = exported(act, table, form)
        if table.importer is None:
            assert len(cells(content, table)) > 1, name
            continue
        whole = table.importer.may_be_whole
        result = imported(act, name, content, whole=whole)
        if result.changes or result.refused or not result.unchanged:
            results[name] = result
    return results
