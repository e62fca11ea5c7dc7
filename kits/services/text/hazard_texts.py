"""What is said of hazards of a trip that none of its kits serves, and what their lists lack."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from kits.services.text import wording
from kits.services.text.planning import rate_texts

Facts = Mapping[str, Any]


def not_served(facts: Facts) -> str:
    """In full."""
    others, carried = _others(facts), _carried(facts)
    said = [_("The trip’s kits carry %(gaps)s.") % {"gaps": each} for each in carried]
    if others:
        said.insert(0, _("None of the trip’s kits is made for: %(hazards)s.") % {"hazards": others})
    return " ".join(said)


def not_served_in_brief(facts: Facts) -> str:
    """In the few words that follow a verdict's."""
    others, carried = _others(facts), _carried(facts)
    said = [_("carries %(gaps)s") % {"gaps": each} for each in carried]
    if others:
        said.append(_("not made for %(hazards)s") % {"hazards": others})
    return "; ".join(said)


def _others(facts: Facts) -> str:
    """The hazards that no list is made for."""
    return ", ".join(wording.hazards(set(facts["hazards"]) - set(facts["gaps"])))


def _carried(facts: Facts) -> list[str]:
    """For each of the other hazards: *nothing for “severe bleeding” (sharp tools)*."""
    return [
        ", ".join(filter(None, (_nothing(hazard, gaps), _too_little(hazard, gaps))))
        for hazard, gaps in facts["gaps"].items()
    ]


def _nothing(hazard: str, gaps: Sequence[Facts]) -> str:
    none = [gap for gap in gaps if not gap["carried"]]
    return _("nothing for %(needs)s (%(hazard)s)") % _words(hazard, none) if none else ""


def _too_little(hazard: str, gaps: Sequence[Facts]) -> str:
    few = [gap for gap in gaps if gap["carried"]]
    return _("too little for %(needs)s (%(hazard)s)") % _words(hazard, few) if few else ""


def _words(hazard: str, gaps: Iterable[Facts]) -> dict[str, str]:
    names = (rate_texts.word(gap["need"]) for gap in gaps)
    return {
        "needs": ", ".join(_("“%(need)s”") % {"need": name} for name in names),
        "hazard": ", ".join(wording.hazards([hazard])),
    }
