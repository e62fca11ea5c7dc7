"""On which days time alone may change what is judged of a kit."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from kits.rules.ledger.expiry import good_through
from kits.rules.ledger.facts import KitState
from kits.rules.ledger.kit_contents import inside


def last_days(kit: KitState) -> frozenset[date]:
    """Return the days after which a verdict of `kit` may be another, as it stands.

    They are the last good day of what is inside, the day a check is due, the last on which undated
    units may be there, the last of its list's signature, and the day by which it has to be
    checked. Between two of them, neither today nor the day that is judged changes a reason of it.
    """
    return frozenset(day for day in _ends(kit) if day is not None)


def _ends(kit: KitState) -> Iterable[date | None]:
    for units in inside(kit):
        yield units.batch.expiry
        yield good_through(units.batch)
        yield units.batch.check_due
    yield kit.undated_grace_until
    yield kit.signed_until
    if kit.looked_inside_on is not None:
        left = (date.max - kit.looked_inside_on).days
        yield kit.looked_inside_on + timedelta(days=min(kit.look_interval_days, left))
