"""Lines of a bought kit that is stripped, by its page."""

import uuid
from typing import Any

from django.test import Client

from kits.models import Item
from tests.kits import factories as make
from tests.site.browsing import post

PATH = "/kits/DAY-02/strip/"


def line(
    client: Client, item: Item, goes: Any, units: int | str = 1, **more: str | uuid.UUID
) -> Any:
    """One thing out of the bought kit into DAY-02."""
    expiry = make.days(600).isoformat() if item.needs_date else ""
    said = {"item": item.pk, "goes": goes, "units": units, "number": "B1", "expiry": expiry}
    return post(client, PATH, **{**said, **more})
