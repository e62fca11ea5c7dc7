"""All tables, in the order in which they are offered and in which a school would fill them."""

from gearroom.core.acts import Actor, NotFound
from kits.services.exchange.table import Table
from kits.services.exchange.tables import (
    contents,
    items,
    kit_lists,
    kits,
    lots,
    people,
    record,
    trips,
)

TABLES: dict[str, Table] = {
    each.TABLE.name: each.TABLE
    for each in (items, kit_lists, kits, contents, lots, trips, people, record)
}


def table(actor: Actor, name: str) -> Table:
    """A table that somebody may export. Raises NotFound, NotAllowed."""
    actor.require("export_tables")
    if (of := TABLES.get(name)) is None:
        raise NotFound("table", name)
    actor.require(of.use_case)
    return of


def offered(actor: Actor) -> list[Table]:
    """The tables that somebody may export."""
    return [of for of in TABLES.values() if actor.may("export_tables") and actor.may(of.use_case)]


def may_import(actor: Actor, of: Table) -> bool:
    """Whether somebody may import a table."""
    importer = of.importer
    return importer is not None and actor.may("import_tables") and actor.may(importer.use_case)
