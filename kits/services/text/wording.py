"""Reasons, acts and broken rules as sentences that a guide understands."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext, pgettext

from gearroom.core.rules.sentences import GROUPED_FROM, Sentence
from kits.rules.ledger.expiry import Fault
from kits.rules.ledger.facts import Reason, Weight
from kits.rules.ledger.irregular import Broken
from kits.rules.ledger.readiness import Why
from kits.rules.ledger.suits import Mismatch
from kits.services.text.hazards import hazards

Facts = Mapping[str, Any]


def said(sentence: Sentence | str) -> str:
    """A rule's sentence in the language of now; text that is none is left as it is."""
    if isinstance(sentence, str):
        return sentence
    return _(sentence.text) % {name: _fact(of) for name, of in sentence.facts.items()}


def day(value: date) -> str:
    """A date in words, for a sentence: 30 November 2026."""
    return formats.date_format(value, pgettext("date format", "j F Y"))


def _fact(of: Any) -> Any:
    match of:
        case Sentence():
            return said(of)
        case date():
            return day(of)
        case float() if math.isfinite(of):
            return formats.number_format(Decimal(f"{of:g}"))
        case int() if abs(of) >= GROUPED_FROM:
            return formats.number_format(of, force_grouping=True)
        case _:
            return of


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
        said = _("%(thing)s: last good day %(day)s") % {"thing": thing, "day": day(dates[0])}
    elif cause in _CAUSES:
        said = _CAUSES[cause]() % {"thing": thing, "day": day(dates[0]) if dates else ""}
        question = facts.get("question")
        if question:
            said = f"{said} ({question})"
    else:
        return _("%(thing)s: %(usable)d of %(carry)d there, minimum %(least)d.") % {
            "thing": thing,
            "usable": usable,
            "carry": carry,
            "least": facts["never_below"],
        }
    return _("%(said)s; %(usable)d of %(carry)d good, minimum %(least)d.") % {
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
                "%(thing)s went out of date on %(day)s: remove %(count)d.",
                "%(thing)s went out of date on %(day)s: remove %(count)d.",
                count,
            )
            % told
        )
    said = _CAUSES[cause]() % told if cause in _CAUSES else str(thing)
    return _("%(said)s: remove %(count)d.") % {"said": said, "count": count}


def _expired_inside(facts: Facts) -> str:
    return (
        ngettext(
            "%(count)d × %(thing)s is out of date: bin it when the kit is next opened.",
            "%(count)d × %(thing)s are out of date: bin them when the kit is next opened.",
            facts["count"],
        )
        % facts
    )


_CAUSES: dict[str, Callable[[], str]] = {
    Fault.RECALLED: lambda: _("%(thing)s is recalled by its maker"),
    Fault.WITHHELD: lambda: _("%(thing)s is on hold"),
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
    "drying": lambda: _("It is drying. Check it when it is dry, then release it."),
    "something-wrong": lambda: _(
        "Somebody reported that something is wrong with it: look, then release."
    ),
    "keep-as-it-came-back": lambda: _("It is to stay as it came back. Do not open or restock it."),
    "mixed": lambda: _("Its contents were mixed with another kit’s: count all of it."),
}


def _not_looked_inside(facts: Facts) -> str:
    if facts["looked_inside_on"] is None:
        return _("Nobody is on record as having checked its contents: check them.")
    return _("Contents last checked on %(day)s: check them again by %(by)s.") % {
        "day": day(facts["looked_inside_on"]),
        "by": day(facts["look_by"]),
    }


def _temperature(text: Callable[[], str]) -> Callable[[Facts], str]:
    return lambda f: text() % {"things": ", ".join(f["things"]), "degrees": f["reaches_c"]}


_SENTENCES: dict[str, Callable[[Facts], str]] = {
    Why.SHORT: _line,
    Why.LOW: _line,
    Why.EMPTY_BY_EYE: lambda f: _("%(thing)s: empty, or nobody has checked. Top it up.") % f,
    Why.LOW_BY_EYE: lambda f: _("%(thing)s: running low.") % f,
    Why.TAKE_OUT: _take_out,
    Why.EXPIRED_INSIDE: _expired_inside,
    Why.DATE_NOT_KNOWN: lambda f: (
        _("%(thing)s: the date of %(count)d is not known; look at the pack.") % f
    ),
    Why.SECTION_AWAY: lambda f: _("The section %(section)s is out on its own.") % f,
    Why.LAID_UP: lambda f: _(
        "It is in storage. Put it back into use and check its contents first."
    ),
    Why.LOST: lambda f: _("It is on record as lost. Scan it to record that it was found."),
    Why.TRAINING: lambda f: _("It is a training kit and never goes on a trip."),
    Why.WAITING_TO_BE_SORTED: lambda f: _(
        "It was handed back and needs sorting: check its contents."
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
        _("No kit of the trip is made for: %(hazards)s.")
        % {"hazards": ", ".join(hazards(f["hazards"]))}
    ),
    Mismatch.NOTHING_FOR_CHILDREN: lambda f: _(
        "Children are on the trip, and no kit of it carries things for children."
    ),
    Mismatch.LATEX_INSIDE: lambda f: (
        _("%(kit)s carries latex, and the trip asked for none: %(things)s.")
        % {"kit": f["kit"], "things": ", ".join(f["things"])}
    ),
}


def batch(thing: str, number: str) -> str:
    """A batch in a sentence: the thing, and its maker's number where it has one."""
    if not number:
        return _("%(thing)s, batch without number,") % {"thing": thing}
    return _("%(thing)s, batch %(number)s,") % {"thing": thing, "number": number}


def moment(value: datetime, zone: str) -> str:
    """An instant in words, by the clock of a room: 30 November, 17:30."""
    local = value.astimezone(ZoneInfo(zone))
    return formats.date_format(local, pgettext("date format", "j F, H:i"))


def disposal(way: str) -> str:
    """The bin that something goes into."""
    return str(DISPOSALS[way])


def act(kind: str) -> str:
    """What an entry's kind is called in a story: "taken out", "handed back"."""
    return str(_ACTS.get(kind) or kind.replace("-", " "))


def withheld(kind: str) -> str:
    """Why a kit or a batch is kept back, in a word or two, as a heading."""
    return str(_KEPT_BACK[kind])


def irregular(code: str) -> str:
    """The rule that an entry broke, as a sentence. Codes that are no longer written are named."""
    return str(IRREGULAR.get(code) or code.replace("-", " ").capitalize() + ".")


_KEPT_BACK: dict[str, Promise] = {
    "recall": _lazy("Recalled"),
    "failed-check": _lazy("A check failed"),
    "drying": _lazy("Drying"),
    "something-wrong": _lazy("Something wrong"),
    "keep-as-it-came-back": _lazy("Keep as it came back"),
    "mixed": _lazy("Contents mixed with another kit’s"),
}

_ACTS: dict[str, str | Promise] = {
    "check-out": _lazy("taken out"),
    "check-in": _lazy("handed back"),
    "emergency": _lazy("taken in an emergency"),
    "clearance": _lazy("clearance by phone answered"),
    "pass": _lazy("passed on"),
    "restock": _lazy("restocked"),
    "reseal": _lazy("sealed"),
    "look-inside": _lazy("contents checked"),
    "take-out": _lazy("what may not stay inside removed"),
    "withhold": _lazy("put on hold"),
    "release": _lazy("released"),
    "use": _lazy("use recorded"),
    "unmet-need": _lazy("something needed was not in it"),
    "not-ours": _lazy("“not ours” pouch checked"),
    "come-back": _lazy("came back from a casualty"),
    "write-off": _lazy("written off"),
    "count": _lazy("counted"),
    "reserve": _lazy("reserved for a trip"),
    "unreserve": _lazy("released from a trip"),
    "reverse": _lazy("corrected"),
    "build": _lazy("built"),
    "strip": _lazy("broken down"),
    "empty": _lazy("emptied"),
    "borrow": _lazy("borrowed from another kit"),
    "lost": _lazy("reported lost"),
    "found": _lazy("found again"),
    "lay-up": _lazy("put in storage"),
    "wake": _lazy("put back into use"),
    "label": _lazy("label changed"),
    "kit": _lazy("edited"),
    "follow-list": _lazy("follows another version of its list"),
    "receive": _lazy("received"),
    "move": _lazy("moved"),
    "arrive": _lazy("arrived"),
    "dispose": _lazy("disposed of"),
    "open": _lazy("opened"),
    "recall": _lazy("recalled by its maker"),
    "recall-answer": _lazy("recall answered"),
    "recall-close": _lazy("recall closed"),
    "correct-lot": _lazy("batch corrected"),
    "check": _lazy("checked"),
    "trip": _lazy("trip changed"),
}

IRREGULAR: dict[str, Promise] = {
    Broken.WAS_OUT: _lazy(
        "On record somebody else had it: their time with it was ended when this one began."
    ),
    Broken.WAS_NOT_OUT: _lazy("On record it was not out; that is corrected."),
    Broken.WAS_NOT_TAKEN_OUT: _lazy(
        "On record it was in the gear room: it is recorded as taken out to whom it was passed."
    ),
    Broken.EMERGENCY: _lazy("It went for an emergency, whatever its state."),
    Broken.NOT_CLEARED: _lazy("Whoever was named as having cleared it by phone says they did not."),
    Broken.RESERVED_FOR_ANOTHER: _lazy("It was reserved for another guide’s trip then."),
    Broken.TRIP_CANCELLED: _lazy("It went for a trip that was cancelled."),
    Broken.TRIP_OVER: _lazy("It went for a trip that was over."),
    Broken.OUT_OF_ORDER: _lazy(
        "It changed hands again since then: this is history, and who has it now stays as it is."
    ),
    Broken.SEAL_NOT_THE_ONE: _lazy("The seal is not the one on record, so it counts as opened."),
    Broken.NO_SEAL_ON_RECORD: _lazy("No seal is on record, so it needs sorting."),
    Broken.USED_MORE: _lazy(
        "More was used than was in it on record: it is recorded as found and used."
    ),
    Broken.BORROWED_MORE: _lazy(
        "More was borrowed than the other kit held on record: it is recorded as found and moved."
    ),
    Broken.KEPT_AS_IT_CAME: _lazy(
        "One of the two kits was to stay as it came back: tell whoever asked for that."
    ),
    Broken.TOLD_AFTER_SORTING: _lazy(
        "What was used was reported after the kit was sorted: it was not taken out of its contents."
    ),
    Broken.MORE_ARRIVED: _lazy("More arrived than was sent: count the shelf it came from."),
    Broken.CHECKED_SINCE: _lazy("It was checked later than that already: the later check counts."),
    Broken.COUNTED_SINCE: _lazy(
        "It was counted since then: what was used is not taken from what the count found."
    ),
    Broken.BOOK_SAYS_OTHERWISE: _lazy("Nothing of the batch was found where some is on record."),
    Broken.FOUND_MORE: _lazy("More of the batch was found than was there on record."),
    Broken.RECALLED: _lazy("Something in it is recalled by its maker."),
    Broken.WITHHELD: _lazy("It was on hold, and not to be used."),
    Broken.FAILED_CHECK: _lazy("Something was put in that failed its check."),
    Broken.EXPIRED_ON_ARRIVAL: _lazy("It was out of date when it arrived."),
    Broken.EXPIRED: _lazy("Something was put in that is out of date."),
    Broken.UNSIGNED_MEDICINE: _lazy("A medicine was put in that no signed kit list asks for."),
    Broken.UNDATED: _lazy("Something was put in whose date is not known."),
    Broken.TRAINING_STOCK: _lazy("Training stock was put in."),
    Broken.FOUND_RECALLED: _lazy("Something was found in it that is recalled by its maker."),
    Broken.FOUND_WITHHELD: _lazy("Something was found in it that is on hold."),
    Broken.FOUND_TRAINING_STOCK: _lazy("Training stock was found in it."),
    Broken.FOUND_UNSIGNED_MEDICINE: _lazy(
        "A medicine was found in it that no signed kit list asks for."
    ),
    Broken.FOUND_EXPIRED: _lazy("Something was found in it that is out of date."),
    Broken.FOUND_OPENED_TOO_LONG: _lazy("Something was found in it that was opened too long ago."),
    Broken.FOUND_DATE_NOT_KNOWN: _lazy("Something was found in it whose date is not known."),
    Broken.FOUND_CHECK_FAILED: _lazy("Something was found in it that failed its check."),
    Broken.FOUND_CHECK_NOT_ANSWERED: _lazy(
        "Something was found in it that has not been checked yet."
    ),
    Broken.FOUND_CHECK_DUE: _lazy("Something was found in it that is due for its check."),
    Broken.SHORT: _lazy("It went with less of something than the minimum of its list."),
    Broken.LOW: _lazy("It went with less of something than its list says."),
    Broken.EMPTY_BY_EYE: _lazy("It went with something loose that was empty, or not checked."),
    Broken.LOW_BY_EYE: _lazy("It went with something running low."),
    Broken.EXPIRED_INSIDE: _lazy("It went with something out of date inside."),
    Broken.TAKE_OUT: _lazy("It went with something in it that must come out first."),
    Broken.DATE_NOT_KNOWN: _lazy("It went with something in it whose date is not known."),
    Broken.SECTION_AWAY: _lazy("It went while one of its sections was out on its own."),
    Broken.LAID_UP: _lazy("It went although it is in storage."),
    Broken.LOST: _lazy("It went although it was on record as lost."),
    Broken.TRAINING: _lazy("It went although it is a training kit."),
    Broken.WAITING_TO_BE_SORTED: _lazy("It went before it was sorted."),
    Broken.LIST_EMPTY: _lazy("It went although its kit list has no lines."),
    Broken.LIST_NOT_SIGNED: _lazy(
        "It went although its kit list was not signed by the medical adviser."
    ),
    Broken.SIGNATURE_ENDS: _lazy("It went although the signature of its kit list ends before."),
    Broken.NOT_LOOKED_INSIDE: _lazy(
        "It went although its contents had not been checked for too long."
    ),
    Broken.FROST: _lazy("It went with something that the frost where it lives may have spoilt."),
    Broken.HEAT: _lazy("It went with something that the heat where it lives may have spoilt."),
    Broken.TOO_FEW_PEOPLE: _lazy("The kits of its trip serve fewer people than go."),
    Broken.TOO_FEW_DAYS: _lazy("The kits of its trip serve fewer days than it lasts."),
    Broken.HAZARDS_NOT_SERVED: _lazy("No kit of its trip is made for some of its hazards."),
    Broken.NOTHING_FOR_CHILDREN: _lazy(
        "Children went, and no kit of its trip carries things for children."
    ),
    Broken.LATEX_INSIDE: _lazy("It carries latex, and its trip asked for none."),
}
"""Every rule that a reported fact may break, as a sentence."""

DISPOSALS: dict[str, Promise] = {
    "bin": _lazy("bin"),
    "sharps": _lazy("sharps tub"),
    "clinical": _lazy("clinical waste"),
    "pharmacy": _lazy("pharmacy"),
    "returned": _lazy("returned to maker"),
}

WENT: dict[str, Promise] = {
    "used": _lazy("used"),
    "class": _lazy("used in class"),
    "sold": _lazy("sold"),
    "given": _lazy("given away"),
}
"""How units left that were not thrown out."""
