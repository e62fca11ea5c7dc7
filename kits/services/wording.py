"""Reasons as sentences that a guide understands, with the act that settles each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Any

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from kits.rules.expiry import Fault
from kits.rules.facts import Reason, Weight
from kits.rules.readiness import Why
from kits.rules.suits import Mismatch

Facts = Mapping[str, Any]


def day(value: date) -> str:
    """A date in words, for a sentence: 30 November 2026."""
    return formats.date_format(value, pgettext("date format", "j F Y"))


def reason(why: Reason, swaps: Mapping[int, str] | None = None) -> dict[str, Any]:
    """One reason as the API and the pages show it: code, weight, sentence and facts.

    `swaps` maps a thing's id to what settles it ("swap in 2 from shelf C2").
    """
    text = _SENTENCES[why.code](why.facts)
    thing = why.facts.get("thing_id")
    hint = (swaps or {}).get(thing, "") if isinstance(thing, int) else ""
    if hint:
        text = f"{text.rstrip('.')}: {hint}."
    return {
        "code": str(why.code),
        "weight": why.weight.name.lower(),
        "text": text,
        "facts": plain(why.facts),
    }


def reasons(whys: Iterable[Reason], swaps: Mapping[int, str] | None = None) -> list[dict[str, Any]]:
    """Reasons as the API and the pages show them, in the order given."""
    return [reason(why, swaps) for why in whys]


def plain(value: Any) -> Any:
    """Facts as JSON takes them: dates in ISO form, sets and tuples as lists."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (tuple, list, set, frozenset)):
        return [plain(v) for v in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Weight):
        return value.name.lower()
    return str(value) if isinstance(value, str) else value


def _line(facts: Facts) -> str:
    """A counted line that has too little: what is wrong with what is there, and how many lack."""
    thing, usable, carry = facts["thing"], facts["usable"], facts["carry"]
    lots = facts["lots"]
    dates = sorted(lot["date"] for lot in lots if lot["date"])
    cause = facts["cause"]
    if cause in (Fault.EXPIRED, Fault.OPENED_TOO_LONG) and dates:
        said = _("%(thing)s goes out of date on %(day)s") % {"thing": thing, "day": day(dates[0])}
    elif cause in _CAUSES:
        said = _CAUSES[cause]() % {"thing": thing, "day": day(dates[0]) if dates else ""}
        question = facts.get("question")
        if question:
            said = f"{said} ({question})"
    else:
        return _("%(thing)s: %(usable)d of %(carry)d there, never below %(least)d.") % {
            "thing": thing,
            "usable": usable,
            "carry": carry,
            "least": facts["never_below"],
        }
    return _("%(said)s; %(usable)d of %(carry)d good, never below %(least)d.") % {
        "said": said,
        "usable": usable,
        "carry": carry,
        "least": facts["never_below"],
    }


def _take_out(facts: Facts) -> str:
    thing, count, cause = facts["thing"], facts["count"], facts["cause"]
    dates = sorted(lot["date"] for lot in facts["lots"] if lot["date"])
    told = {"thing": thing, "count": count, "day": day(dates[0]) if dates else ""}
    if cause in (Fault.EXPIRED, Fault.OPENED_TOO_LONG) and dates:
        return (
            ngettext(
                "%(thing)s went out of date on %(day)s: take %(count)d out.",
                "%(thing)s went out of date on %(day)s: take %(count)d out.",
                count,
            )
            % told
        )
    said = _CAUSES[cause]() % told if cause in _CAUSES else str(thing)
    return _("%(said)s: take %(count)d out.") % {"said": said, "count": count}


_CAUSES: dict[str, Callable[[], str]] = {
    Fault.RECALLED: lambda: _("%(thing)s is recalled by its maker"),
    Fault.WITHHELD: lambda: _("%(thing)s is kept back"),
    Fault.CHECK_FAILED: lambda: _("%(thing)s failed its check"),
    Fault.CHECK_NOT_ANSWERED: lambda: _("%(thing)s has not been checked yet"),
    Fault.CHECK_DUE: lambda: _("%(thing)s is due for its check on %(day)s"),
    Fault.DATE_NOT_KNOWN: lambda: _("the date of %(thing)s is not known"),
    Fault.TRAINING_STOCK: lambda: _("%(thing)s is for training only"),
    Fault.UNSIGNED_MEDICINE: lambda: _("%(thing)s is on no signed kit list"),
}

_WITHHELD: dict[str, Callable[[], str]] = {
    "recall": lambda: _("Do not take it: something in it is recalled."),
    "failed-check": lambda: _("Do not take it: a check failed."),
    "drying": lambda: _("It is drying. Look inside when it is dry, then release it."),
    "something-wrong": lambda: _(
        "Somebody said that something is wrong with it: look, then release."
    ),
    "keep-as-it-came-back": lambda: _("It is kept as it came back. Do not open or restock it."),
}


def _not_looked_inside(facts: Facts) -> str:
    if facts["looked_inside_on"] is None:
        return _("Nobody is on record as having looked inside: look inside it.")
    return _("Last looked inside on %(day)s: look inside it again by %(by)s.") % {
        "day": day(facts["looked_inside_on"]),
        "by": day(facts["look_by"]),
    }


def _temperature(text: Callable[[], str]) -> Callable[[Facts], str]:
    return lambda f: text() % {"things": ", ".join(f["things"]), "degrees": f["reaches_c"]}


_SENTENCES: dict[str, Callable[[Facts], str]] = {
    Why.SHORT: _line,
    Why.LOW: _line,
    Why.EMPTY_BY_EYE: lambda f: _("%(thing)s: empty, or nobody has looked. Fill it up.") % f,
    Why.LOW_BY_EYE: lambda f: _("%(thing)s: running low.") % f,
    Why.TAKE_OUT: _take_out,
    Why.DATE_NOT_KNOWN: lambda f: (
        _("%(thing)s: the date of %(count)d is not known; look at the pack.") % f
    ),
    Why.SECTION_AWAY: lambda f: _("The section %(section)s is out on its own.") % f,
    Why.LAID_UP: lambda f: _("It is laid up. Wake it and look inside first."),
    Why.LOST: lambda f: _("It is on record as lost. Scan it to record that it was found."),
    Why.TRAINING: lambda f: _("It is a training kit and never goes on a trip."),
    Why.WAITING_TO_BE_SORTED: lambda f: _(
        "It was handed back and waits to be sorted: look inside."
    ),
    Why.WITHHELD: lambda f: _WITHHELD[f["reason"]](),
    Why.LIST_EMPTY: lambda f: _("Its kit list has no lines: choose another version."),
    Why.LIST_NOT_SIGNED: lambda f: _("Its kit list is not signed by the medical adviser."),
    Why.SIGNATURE_ENDS: lambda f: (
        _("The signature of its kit list ends on %(day)s.") % {"day": day(f["signed_until"])}
    ),
    Why.NOT_LOOKED_INSIDE: _not_looked_inside,
    Why.FROST: _temperature(
        lambda: _("Keep from frost: %(things)s (where it lives reaches %(degrees)d °C).")
    ),
    Why.HEAT: _temperature(
        lambda: _("Keep from heat: %(things)s (where it lives reaches %(degrees)d °C).")
    ),
    Mismatch.TOO_FEW_PEOPLE: lambda f: (
        _("The trip has %(people)d people and its kits serve %(served)d.") % f
    ),
    Mismatch.TOO_FEW_DAYS: lambda f: (
        _("The trip lasts %(days)d days; its kits serve %(served)d of %(people)d people that long.")
        % f
    ),
    Mismatch.HAZARDS_NOT_SERVED: lambda f: (
        _("No kit of the trip is made for: %(hazards)s.") % {"hazards": ", ".join(f["hazards"])}
    ),
    Mismatch.NOTHING_FOR_CHILDREN: lambda f: _(
        "Children are on the trip, and no kit of it carries things for children."
    ),
    Mismatch.LATEX_INSIDE: lambda f: (
        _("%(kit)s carries latex, and the trip asked for none: %(things)s.")
        % {"kit": f["kit"], "things": ", ".join(f["things"])}
    ),
}
