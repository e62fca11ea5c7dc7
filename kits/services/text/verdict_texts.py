"""A verdict in the words that every page, mail, label and answer shows.

*Ready* · *Ready, low on gauze* · *Ask first: short of 2 × sling* · *Do not take: no airway mask* ·
*Not set up yet*; and beside it, apart, *first expiry 31 Mar 2027*.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from kits.rules.ledger.expiry import Fault
from kits.rules.ledger.facts import Reason, Verdict, Weight, Word
from kits.rules.ledger.readiness import Why
from kits.rules.ledger.suits import Mismatch
from kits.services.text.hazards import hazards

MOST_NAMED = 2
"""How many items *low on …* names; the others are counted."""

Facts = Mapping[str, Any]


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
        Word.LOW: _("Ready, low"),
        Word.SHORT: _("Ask first"),
        Word.DO_NOT_TAKE: _("Do not take"),
        Word.NOT_SET_UP: _("Not set up yet"),
    }[of]


def first_expiry(day: date | None) -> str:
    """The earliest date inside, as it stands beside a verdict; empty where nothing is dated."""
    if day is None:
        return ""
    return _("first expiry %(day)s") % {"day": short_day(day)}


def short_day(day: date) -> str:
    """A date as a tag has room for: 31 Mar 2027."""
    return formats.date_format(day, pgettext("short date format", "j M Y"))


def judged_for(through: date, trip: str = "") -> str:
    """The question that a verdict answers: through which day, and for which trip, if for one."""
    day = formats.date_format(through, pgettext("near day format", "D j M"))
    if trip:
        return _("judged for %(day)s, %(trip)s") % {"day": day, "trip": trip}
    return _("judged for %(day)s") % {"day": day}


def brief(why: Reason) -> str:
    """One reason in the few words that follow a verdict's."""
    return _BRIEF[why.code](why.facts)


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


def _short(facts: Facts) -> str:
    if facts["usable"] == 0:
        return _("no %(thing)s") % facts
    return _("short of %(lacking)d × %(thing)s") % facts


def _take_out(facts: Facts) -> str:
    return _FAULTS[facts["cause"]]() % facts


_FAULTS: dict[str, Callable[[], str]] = {
    Fault.RECALLED: lambda: _("recalled %(thing)s inside"),
    Fault.WITHHELD: lambda: _("%(thing)s inside is on hold"),
    Fault.TRAINING_STOCK: lambda: _("%(thing)s for training inside"),
    Fault.UNSIGNED_MEDICINE: lambda: _("%(thing)s inside is on no signed list"),
    Fault.EXPIRED: lambda: _("%(thing)s out of date"),
    Fault.OPENED_TOO_LONG: lambda: _("%(thing)s open too long"),
    Fault.DATE_NOT_KNOWN: lambda: _("date of %(thing)s not known"),
    Fault.CHECK_FAILED: lambda: _("%(thing)s failed its check"),
    Fault.CHECK_NOT_ANSWERED: lambda: _("%(thing)s not checked yet"),
    Fault.CHECK_DUE: lambda: _("%(thing)s due for its check"),
}

_ON_HOLD: dict[str, Callable[[], str]] = {
    "recall": lambda: _("on hold: recall"),
    "failed-check": lambda: _("on hold: failed check"),
    "drying": lambda: _("on hold: drying"),
    "something-wrong": lambda: _("on hold: something wrong"),
    "keep-as-it-came-back": lambda: _("on hold: keep as it came back"),
    "mixed": lambda: _("contents mixed, count it"),
}

_BRIEF: dict[str, Callable[[Facts], str]] = {
    Why.SHORT: _short,
    Why.LOW: lambda f: _("low on %(thing)s") % f,
    Why.EMPTY_BY_EYE: lambda f: _("no %(thing)s") % f,
    Why.LOW_BY_EYE: lambda f: _("low on %(thing)s") % f,
    Why.TAKE_OUT: _take_out,
    Why.EXPIRED_INSIDE: _take_out,
    Why.DATE_NOT_KNOWN: lambda f: _("date of %(thing)s not known") % f,
    Why.SECTION_AWAY: lambda f: _("pouch %(section)s is out") % f,
    Why.LAID_UP: lambda f: _("in storage"),
    Why.LOST: lambda f: _("lost"),
    Why.TRAINING: lambda f: _("training kit"),
    Why.WAITING_TO_BE_SORTED: lambda f: _("needs sorting"),
    Why.WITHHELD: lambda f: _ON_HOLD[f["reason"]](),
    Why.LIST_EMPTY: lambda f: _("its kit list is empty"),
    Why.LIST_NOT_SIGNED: lambda f: _("kit list not signed"),
    Why.SIGNATURE_ENDS: lambda f: (
        _("kit list signed only until %(day)s") % {"day": short_day(f["signed_until"])}
    ),
    Why.NOT_LOOKED_INSIDE: lambda f: _("contents not checked lately"),
    Why.FROST: lambda f: _("keep from frost"),
    Why.HEAT: lambda f: _("keep from heat"),
    Mismatch.TOO_FEW_PEOPLE: lambda f: (
        _("the trip's kits serve %(served)d of %(people)d people") % f
    ),
    Mismatch.TOO_FEW_DAYS: lambda f: _("the trip's kits are not made for %(days)d days") % f,
    Mismatch.HAZARDS_NOT_SERVED: lambda f: (
        _("not made for %(hazards)s") % {"hazards": ", ".join(hazards(f["hazards"]))}
    ),
    Mismatch.NOTHING_FOR_CHILDREN: lambda f: _("nothing for children"),
    Mismatch.LATEX_INSIDE: lambda f: _("latex inside"),
}
