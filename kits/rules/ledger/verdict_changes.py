"""On which days time alone may change what is judged of a kit."""

from datetime import date

from kits.rules.ledger.expiry import good_through
from kits.rules.ledger.facts import KitState
from kits.rules.ledger.kit_contents import inside


def last_days(kit: KitState) -> frozenset[date]:
    """Return the days after which a verdict of `kit` may be another, if nothing is done.

    They are the last good day of what is inside, the day a check is due, the last on which undated
    units may be there, the last of its list's signature, and the day by which it has to be
    checked. Between two of them, neither today nor the day that is judged changes a reason of it.
    """
    ends = [kit.undated_grace_until, kit.signed_until, kit.look_by]
    for units in inside(kit):
        ends += (units.batch.expiry, good_through(units.batch), units.batch.check_due)
    return frozenset(filter(None, ends))
