"""Ways to serve a trip that lacks something after all, in words, with what they cost."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.utils.translation import gettext as _, ngettext

from kits.models import Kit, Trip
from kits.rules.trips.season_mends import Mend, MendKind
from kits.services.text import wording
from kits.services.text.planning.planning_texts import money


@dataclass(frozen=True)
class ContentsCost:
    """What a kit's contents cost to buy in a currency; of `unpriced` items no price is known, and
    they are not in the sum."""

    money: Decimal
    currency: str
    unpriced: int = 0


Costs = Callable[[Iterable[Kit]], Mapping[int, ContentsCost]]
"""What the contents of kits cost to buy, by the kits' ids; a kit of which nothing has a price is
left out."""


def way(mend: Mend, trip: Trip, kits: Mapping[int, Kit], costs: Mapping[int, ContentsCost]) -> str:
    """A way to serve a trip after all, in sentences."""
    names = ", ".join(sorted(kits[pk].name for pk in mend.kits))
    if mend.kind is MendKind.SHIFT:
        first = wording.day(trip.first_day + timedelta(days=mend.days))
        return _("If the trip began on %(day)s, %(kits)s could go.") % {"day": first, "kits": names}
    if mend.kind is MendKind.MAKE_READY:
        return _(
            "%(kits)s would be enough if made ready for the whole trip (until %(day)s), but there"
            " is not enough on the shelves for that."
        ) % {"day": wording.day(trip.last_day), "kits": names}
    like = mend.like or 0
    facts = {"like": kits[like].name, "kits": names}
    if names:
        says = _("One more kit like %(like)s, together with %(kits)s: borrow or buy one.") % facts
    else:
        says = _("One more kit like %(like)s: borrow or buy one.") % facts
    return f"{says} {_cost(costs[like])}" if like in costs else says


def _cost(cost: ContentsCost) -> str:
    facts = {"money": money(cost.money, cost.currency), "n": cost.unpriced}
    if not cost.unpriced:
        return _("To buy what belongs in it costs %(money)s, without a bag.") % facts
    return (
        ngettext(
            "To buy what belongs in it costs at least %(money)s, without a bag: %(n)d item has no"
            " price.",
            "To buy what belongs in it costs at least %(money)s, without a bag: %(n)d items have no"
            " price.",
            cost.unpriced,
        )
        % facts
    )
