"""A verdict in the words that every page, mail, label and answer shows.

*Ready* · *Ready, low on gauze* · *Ask first: short of 2 × sling* · *Do not take: no airway mask* ·
*Not set up yet*; and beside it, apart, *first expiry 31 Mar 2027*.
"""

from datetime import date

from django.utils import formats
from django.utils.translation import gettext as _, pgettext

from kits.rules.ledger.facts import Verdict, Weight, Word
from kits.services.text.reason_texts import brief
from kits.services.text.wording import short_day

MOST_NAMED = 2
"""How many items *low on …* names; the others are counted."""


def verdict(of: Verdict) -> str:
    """A verdict in words."""
    match of.word:
        case Word.READY:
            return _("Ready")
        case Word.NOT_SET_UP:
            return _("Not set up yet")
        case Word.LOW:
            return _("Ready, low on %(items)s") % {"items": _low_on(of)}
        case Word.SHORT:
            return _("Ask first: %(why)s") % {"why": brief(of.reasons[0])}
        case Word.DO_NOT_TAKE:
            return _("Do not take: %(why)s") % {"why": brief(of.reasons[0])}


def word(of: Word) -> str:
    """A verdict's word alone, for a column or a picture."""
    return {
        Word.READY: _("Ready"),
        Word.LOW: _("Ready, low on some items"),
        Word.SHORT: _("Ask first"),
        Word.DO_NOT_TAKE: _("Do not take"),
        Word.NOT_SET_UP: _("Not set up yet"),
    }[of]


def first_expiry(day: date | None) -> str:
    """The earliest date inside, as it stands beside a verdict; empty where nothing is dated."""
    return _("first expiry %(day)s") % {"day": short_day(day)} if day else ""


def judged_for(through: date, trip: str = "") -> str:
    """The question that a verdict answers: through which day, and for which trip, if for one."""
    day = formats.date_format(through, pgettext("near day format", "D j M"))
    if trip:
        return _("status for %(day)s, %(trip)s") % {"day": day, "trip": trip}
    return _("status for %(day)s") % {"day": day}


def _low_on(of: Verdict) -> str:
    items = list(
        dict.fromkeys(str(why.facts["thing"]) for why in of.reasons if why.weight is Weight.LOW)
    )
    named = ", ".join(items[:MOST_NAMED])
    if len(items) > MOST_NAMED:
        return _("%(items)s and %(count)d more") % {
            "items": named,
            "count": len(items) - MOST_NAMED,
        }
    return named
