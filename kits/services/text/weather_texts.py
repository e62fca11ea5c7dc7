"""What has to be moved because of the weather, in words."""

from collections.abc import Sequence
from datetime import date

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from kits.rules.ledger.weather import Stretch, Threat
from kits.services.text.days import day

THREATS: dict[Threat, Promise] = {
    Threat.FROST: _lazy("frost"),
    Threat.HEAT: _lazy("heat"),
    Threat.WET: _lazy("wet"),
}

BEGUN = _lazy(
    "The months of frost, heat or wet have begun, so look at every pack. No record can show "
    "whether something is still good after frost, heat or wet: until you have asked its maker or "
    "your medical adviser, put it in quarantine."
)
EXPOSED = _lazy(
    "Some of this was still there when the frost, heat or wet began. Look at every pack, and ask "
    "its maker or your medical adviser before you put it back."
)


def why(threats: Sequence[Threat]) -> str:
    """Frost, heat, wet: what harms something."""
    return _(" and ").join(str(THREATS[each]) for each in threats)


def leaving(
    thing: str, units: int, threats: Sequence[Threat], stretch: Stretch, today: date
) -> str:
    """What has to leave, why and until when; `units` 0: nobody counts it."""
    what = _("%(units)d × %(thing)s") % {"units": units, "thing": thing} if units else thing
    facts = {
        "what": what,
        "why": why(threats),
        "first": day(stretch.first, today) if stretch.first > date.min else "",
        "last": day(stretch.last, today),
    }
    if stretch.last == date.max:
        return _("%(what)s: %(why)s all year") % facts
    if stretch.first <= today:
        return _("%(what)s: %(why)s since %(first)s, until %(last)s") % facts
    return _("%(what)s: %(why)s from %(first)s until %(last)s") % facts


def returning(thing: str, number: str, units: int, shelf: str) -> str:
    """What may be put back, and where it is now."""
    facts = {"units": units, "thing": thing, "number": number, "shelf": shelf}
    if number:
        return _("%(units)d × %(thing)s, batch %(number)s, from %(shelf)s") % facts
    return _("%(units)d × %(thing)s, from %(shelf)s") % facts
