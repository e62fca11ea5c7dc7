"""What is said of what a list leaves out on purpose, and of hazards that it serves without what
they ask for."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal

from django.utils.formats import number_format
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import Item, Need, WhyNotCarried
from kits.services.text import wording
from kits.services.text.planning import rate_texts

WHY = {
    WhyNotCarried.NO_TRAINING: _lazy("nobody is trained to use it"),
    WhyNotCarried.NOT_NEEDED: _lazy("trips with this list do not need it"),
    WhyNotCarried.NEVER_USED: _lazy("never used here"),
    WhyNotCarried.EXPIRES: _lazy("goes out of date unused"),
    WhyNotCarried.TOO_BIG: _lazy("too heavy or too big"),
    WhyNotCarried.NOT_ALLOWED: _lazy("not allowed by law, protocol or adviser"),
    WhyNotCarried.ELSEWHERE: _lazy("carried by somebody else"),
    WhyNotCarried.OTHER_WAY: _lazy("something else does the job"),
    WhyNotCarried.OTHER: _lazy("another reason"),
}


def why(of: WhyNotCarried, words: str) -> str:
    """Why it is not carried; another reason is said by its own words alone."""
    if of is WhyNotCarried.OTHER and words:
        return words
    return _("%(why)s: %(words)s") % {"why": WHY[of], "words": words} if words else str(WHY[of])


def name(item: Item | None, need: Need | None) -> str:
    """What is not carried: an item by its name, a need by its name and as one."""
    if need is not None:
        return _("%(need)s (need)") % {"need": rate_texts.word(need.name)}
    return item.name if item else ""


def something_for(need: str) -> str:
    """Whatever serves a need, as what is to be added."""
    return _("something for “%(need)s”") % {"need": rate_texts.word(need)}


def again(on: date | None, after: str, today: date, *, due: bool | None) -> str:
    """When to look at it again: a day, or after an event; `due`: the day has come and nobody has
    looked since (False: somebody has; None: of a version that was replaced)."""
    if on is None:
        return _("after %(event)s") % {"event": after} if after else ""
    says = wording.day(on)
    if due:
        says = _("due today") if on == today else _("was due %(day)s") % {"day": says}
    elif due is False and on <= today:
        says = _("%(day)s (reviewed since)") % {"day": says}
    return _("%(day)s; or after %(event)s") % {"day": says, "event": after} if after else says


def when(
    hazards: Sequence[str],
    activities: Sequence[str],
    hours_to_care: Decimal | None,
    names: Mapping[str, str],
) -> str:
    """When it is carried all the same; `names` of activities by key. Empty: never."""
    said = [
        *map(str, wording.hazards(hazards)),
        *(rate_texts.word(names.get(key, key)) for key in activities),
    ]
    if hours_to_care is not None:
        said.append(
            _("when a hospital or doctor is %(hours)s hours away or more")
            % {"hours": number_format(hours_to_care.normalize())}
        )
    return "; ".join(said)


def lacking(hazard: str, need: str, units: int, carried: int) -> str:
    """That a list ticks a hazard and does not carry what that asks for."""
    facts = {
        "hazard": wording.hazards([hazard])[0],
        "need": rate_texts.word(need),
        "n": units,
        "carried": carried,
    }
    if not carried:
        return _("This list is made for “%(hazard)s” and carries nothing for “%(need)s”.") % facts
    return (
        ngettext(
            "This list is made for “%(hazard)s”, which requires %(n)d unit for “%(need)s”, and "
            "carries %(carried)d.",
            "This list is made for “%(hazard)s”, which requires %(n)d units for “%(need)s”, "
            "and carries %(carried)d.",
            units,
        )
        % facts
    )


def publish_anyway(says: Sequence[str]) -> str:
    """The question that comes before a list is published that does not serve its hazards."""
    return _(
        "%(what)s Add what is missing, or say under “Not carried” why it is left out. Until "
        "then, this list does not suit a trip with that hazard."
    ) % {"what": " ".join(says)}


def to_add(name: str, kits: Sequence[str], when: str) -> str:
    """That something is not in kits, and is carried on such a trip."""
    return _("Not in %(kits)s: %(name)s. Trips like this one carry it (%(when)s), so add it.") % {
        "kits": ", ".join(kits),
        "name": name,
        "when": when,
    }
