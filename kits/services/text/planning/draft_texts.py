"""What a drafted list says of why something is carried, and why not."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from django.utils.functional import Promise
from django.utils.text import Truncator
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import PackingListVersion, WhyNotCarried
from kits.rules.planning.drafting import WhyNot
from kits.services.text import wording
from kits.services.text.planning import planning_texts, rate_texts

MOST_REASON = 300
"""So long is the reason of a line."""

SEASONS: dict[str, Promise] = {
    "spring": _lazy("spring"),
    "summer": _lazy("summer"),
    "autumn": _lazy("autumn"),
    "winter": _lazy("winter"),
}

_ASKED: dict[str, Promise] = {
    "ticked": _lazy("Because of “%(hazard)s” (%(need)s): %(reason)s"),
    "season": _lazy("At this time of year, expect “%(hazard)s” (%(need)s): %(reason)s"),
    "hours": _lazy("A hospital or doctor is hours away (%(need)s): %(reason)s"),
}
"""By where a hazard comes from."""


def reason(says: Iterable[str], *, untrained: bool) -> str:
    """Why a line is there: as many whole sentences as there is room for, the warning first."""
    first = (
        [_("Nobody in the group is trained for this: have somebody trained first.")]
        if untrained
        else []
    )
    found = ""
    for each in dict.fromkeys([*first, *says]):
        if len(found) + len(each) + 1 <= MOST_REASON:
            found = f"{found} {each}".strip()
    return found


def asked(need: str, hazard: str, why: str, origin: str) -> str:
    """That a hazard asks for it, and where the hazard comes from."""
    return str(_ASKED[origin]) % {
        "hazard": wording.hazards([hazard])[0],
        "need": rate_texts.word(need),
        "reason": rate_texts.word(why),
    }


def must_have(need: str, *, life: bool) -> str:
    """That a life can depend on it, or else that the list says that it must be there."""
    facts = {"need": _name(need)}
    if life:
        return _("%(need)s: somebody’s life can depend on it.") % facts
    return _("%(need)s: a must-have on the list.") % facts


class Known(NamedTuple):
    """What our records say of a need: on trips of one activity, or `everywhere`, of all; `at_least`
    so many uses. `stated`: it was stated or published how often it comes up."""

    uses: float = 0
    days: float = 0
    at_least: bool = False
    everywhere: bool = False
    stated: bool = False


def likely(need: str, chance: float, known: Known) -> str:
    """That a need comes up often enough, and by what that is known."""
    facts = {"need": _name(need), "chance": planning_texts.of_100_trips(chance)}
    says = _("%(need)s: expected on %(chance)s out of 100 trips like this.") % facts
    return f"{says} {_known_by(known)}".strip()


def _known_by(known: Known) -> str:
    """What our records say; without any, that it is what was stated or published."""
    if known.days:
        recorded = rate_texts.recorded(known.uses, known.days, at_least=known.at_least)
        all_trips = _("All trips: %(recorded)s") % {"recorded": recorded}
        return all_trips if known.everywhere else recorded
    return (
        _("From the rate that was entered or published; no trip is on record for it yet.")
        if known.stated
        else ""
    )


def carried_when(need: str) -> str:
    """That the list says under what is not carried that it is on such a trip."""
    return _("%(need)s: carried on trips like this one.") % {"need": _name(need)}


def version(of: PackingListVersion) -> str:
    """A version by its list's name and its number."""
    return _("%(name)s, version %(number)s") % {"name": of.packing_list.name, "number": of.number}


def kept(like: PackingListVersion | None) -> str:
    """That it is as on the list which the draft starts from."""
    return _("Same as on %(version)s.") % {"version": version(like) if like else ""}


def made(draft: PackingListVersion) -> str:
    """That a draft was made, and what comes next."""
    return _(
        "%(version)s has been created as a draft. Look through it, then change what you like."
    ) % {"version": version(draft)}


def without_item(lines: Sequence[str]) -> str:
    """Asks what becomes of pasted lines for which nobody chose an item."""
    return ngettext(
        "%(n)d line has no item yet: %(lines)s. Choose one for it, or press again to leave it out.",
        "%(n)d lines have no item yet: %(lines)s. Choose one for each, or press again to leave "
        "them out.",
        len(lines),
    ) % {"n": len(lines), "lines": _in_short(lines)}


def left_out_when_pasted(lines: Sequence[str]) -> str:
    """Which pasted lines the list does not carry; empty where it carries all."""
    return _("Left out when pasted: %(lines)s.") % {"lines": _in_short(lines)} if lines else ""


def _in_short(lines: Sequence[str]) -> str:
    """Each line by how it starts; in full it may be as long as a page."""
    return "; ".join(Truncator(line).chars(60) for line in lines)


def left_out(
    why: WhyNot, need: str, chance: float | None, known: Known, *, ever: bool
) -> tuple[WhyNotCarried, str]:
    """Why nothing is carried for a need: of the reasons of a list, and in words. `ever`: it came up
    on some trip, of whatever activity."""
    facts = {"need": _name(need)}
    match why:
        case WhyNot.UNTRAINED:
            return WhyNotCarried.NO_TRAINING, _(
                "%(need)s: nobody in the group is trained for this."
            ) % facts
        case WhyNot.RARE:
            rare = WhyNotCarried.OTHER if ever or not known.days else WhyNotCarried.NEVER_USED
            facts |= {"chance": planning_texts.of_100_trips(chance or 0.0)}
            says = _("Expected on %(chance)s out of 100 trips like this.") % facts
            return rare, f"{says} {_known_by(known)}".strip()
        case WhyNot.NO_RATE:
            says = _(
                "Nobody knows yet how often this comes up. Decide whether to carry anything for it."
            )
            return WhyNotCarried.OTHER, says
        case WhyNot.NO_ITEM:
            says = _(
                "No item is recorded for this yet. Choose one, or decide that none is carried."
            )
            return WhyNotCarried.OTHER, says


def _name(need: str) -> str:
    word = rate_texts.word(need)
    return word[:1].upper() + word[1:]
