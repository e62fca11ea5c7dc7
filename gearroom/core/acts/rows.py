"""Rows as somebody changes them: locked, fresh, and as they were read."""

from typing import TypeVar

from django.db.models import Model

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import NotFound

Row = TypeVar("Row", bound=Model)


def locked(act: Act, row: Row) -> Row:
    """A row afresh, locked until the transaction ends.

    Raises Stale where it is not as whoever acts read it (`Act.match`), NotFound where it is gone.
    """
    rows = type(row)._default_manager.select_for_update(of=("self",), no_key=True)
    fresh = rows.filter(pk=row.pk).first()
    if fresh is None:
        raise NotFound(row._meta.model_name or "", row.pk)
    act.match(fresh)
    return fresh
