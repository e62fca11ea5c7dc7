"""Rows as services need them: the one that is named, or locked, fresh and as it was read; a name
that no other has; and some columns changed alone."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import Model, QuerySet

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import NotFound, Refused

Row = TypeVar("Row", bound=Model)


def one(rows: QuerySet[Row], what: str, ref: object = "") -> Row:
    """The row of these, which are one at most. Raises NotFound, with what it is and what it was
    named by."""
    if (row := next(iter(rows.order_by()[:1]), None)) is None:
        raise NotFound(what, ref)
    return row


def locked(act: Act, row: Row) -> Row:
    """A row afresh, locked until the transaction ends.

    Raises Stale where it is not as whoever acts read it (`Act.match`), NotFound where it is gone.
    """
    rows = type(row)._default_manager.select_for_update(of=("self",), no_key=True)
    fresh = one(rows.filter(pk=row.pk), row._meta.model_name or "", row.pk)
    act.match(fresh)
    return fresh


def name_taken(says: str) -> Refused:
    """The refusal of a name that another has."""
    return Refused("name-taken", says)


@contextmanager
def refuse_taken_name(says: str) -> Iterator[None]:
    """A transaction that saves a row whose name must be its own. Raises Refused (`name-taken`)."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        raise name_taken(says) from error


def store(row: Model, **columns: Any) -> None:
    """Set these columns of a row, and save them alone."""
    for name, value in columns.items():
        setattr(row, name, value)
    row.save(update_fields=list(columns))
