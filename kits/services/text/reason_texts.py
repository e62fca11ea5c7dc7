"""Every code of `ReasonCode` in words: what it says in a verdict, in full and in a few words; what
is wrong with units. (What was irregular about an entry is in `irregular_texts`.)"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.ledger import OUT_OF_DATE, Reason, ReasonCode, Weight
from kits.services.text import hazard_texts
from kits.services.text.wording import day, short_day

Facts = Mapping[str, Any]
Text = Promise | Callable[[Facts], str]
"""A text that names facts, or a function that words them."""


@dataclass(frozen=True)
class VerdictTexts:
    """A reason of a verdict as a sentence that says what to do, and in the few words that follow
    a verdict's."""

    sentence: Text
    brief: Text


def reason(why: Reason, swaps: Mapping[int, str] | None = None) -> dict[str, Any]:
    """One reason as the API and the pages show it: code, weight, sentence and facts.

    `swaps` maps a thing's id to what settles it ("swap in 2 from shelf C2").
    """
    text = _worded(VERDICTS[why.code].sentence, why.facts)
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


def brief(why: Reason) -> str:
    """One reason in the few words that follow a verdict's."""
    return _worded(VERDICTS[why.code].brief, why.facts)


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


def _worded(text: Text, facts: Facts) -> str:
    return str(text) % facts if isinstance(text, Promise) else text(facts)


def _first_day(facts: Facts) -> str:
    """The earliest date of the units that do not count, in words."""
    dates = [lot["date"] for lot in facts["lots"] if lot["date"]]
    return day(min(dates)) if dates else ""


def _line(facts: Facts) -> str:
    """A counted line that has too little: what is wrong with what is there, and how many lack."""
    thing, question = facts["thing"], facts.get("question")
    least = facts["never_below"]
    numbers = {
        "usable": facts["usable"],
        "carry": facts["carry"],
        "least": _("minimum %(units)d") % {"units": least} if least else _("optional"),
    }
    if (cause := CAUSES.get(facts["cause"])) is None:
        return _("%(thing)s: %(usable)d of %(carry)d in the kit, %(least)s.") % {
            "thing": thing,
            **numbers,
        }
    text = str(cause.of_line) % {"thing": thing, "day": _first_day(facts)}
    if question and facts["cause"] not in OUT_OF_DATE:
        text = f"{text} ({question})"
    return _("%(said)s; %(usable)d of %(carry)d usable, %(least)s.") % {
        "said": text,
        **numbers,
    }


def _short(facts: Facts) -> str:
    text = _("short of %(lacking)d × %(thing)s") if facts["usable"] else _("no %(thing)s")
    return text % facts


def _take_out(facts: Facts) -> str:
    cause, count = facts["cause"], facts["count"]
    named = {"thing": facts["thing"], "count": count, "day": _first_day(facts)}
    if cause in OUT_OF_DATE:
        text = ngettext(
            "%(thing)s went out of date on %(day)s: remove %(count)d.",
            "%(thing)s went out of date on %(day)s: remove %(count)d.",
            count,
        )
        return text % named
    return _("%(said)s: remove %(count)d.") % {
        "said": str(CAUSES[cause].of_line) % named,
        "count": count,
    }


def _expired_inside(facts: Facts) -> str:
    text = ngettext(
        "%(count)d × %(thing)s is out of date: bin it when the kit is next opened.",
        "%(count)d × %(thing)s are out of date: bin them when the kit is next opened.",
        facts["count"],
    )
    return text % facts


def _inside(facts: Facts) -> str:
    return str(CAUSES[facts["cause"]].inside) % facts


def _not_looked_inside(facts: Facts) -> str:
    if facts["looked_inside_on"] is None:
        return _("No check of the kit’s contents is on record: check them.")
    return _("Contents last checked on %(day)s: check them again by %(by)s.") % {
        "day": day(facts["looked_inside_on"]),
        "by": day(facts["look_by"]),
    }


def _temperature(text: Promise) -> Text:
    return lambda f: str(text) % {"things": ", ".join(f["things"]), "degrees": f["reaches_c"]}


@dataclass(frozen=True)
class CauseTexts:
    """What is wrong with units: as the cause of a line that has too little, and in the few words
    of a verdict that has them inside."""

    of_line: Promise
    inside: Promise


CAUSES: dict[str, CauseTexts] = {
    ReasonCode.RECALLED: CauseTexts(
        _lazy("%(thing)s has been recalled by its maker"), _lazy("recalled %(thing)s inside")
    ),
    ReasonCode.WITHHELD: CauseTexts(
        _lazy("%(thing)s is on hold"), _lazy("%(thing)s inside is on hold")
    ),
    ReasonCode.TRAINING_STOCK: CauseTexts(
        _lazy("%(thing)s is for training only"), _lazy("%(thing)s for training inside")
    ),
    ReasonCode.UNSIGNED_MEDICINE: CauseTexts(
        _lazy("%(thing)s is not on any signed kit list"),
        _lazy("%(thing)s inside is not on any signed list"),
    ),
    ReasonCode.EXPIRED: CauseTexts(
        _lazy("%(thing)s: good until %(day)s"), _lazy("%(thing)s out of date")
    ),
    ReasonCode.OPENED_TOO_LONG: CauseTexts(
        _lazy("%(thing)s: good until %(day)s"), _lazy("%(thing)s opened too long ago")
    ),
    ReasonCode.DATE_NOT_KNOWN: CauseTexts(
        _lazy("no expiry date known for %(thing)s"), _lazy("no expiry date known for %(thing)s")
    ),
    ReasonCode.CHECK_FAILED: CauseTexts(
        _lazy("%(thing)s failed its check"), _lazy("%(thing)s failed its check")
    ),
    ReasonCode.CHECK_NOT_ANSWERED: CauseTexts(
        _lazy("%(thing)s has not been checked yet"), _lazy("%(thing)s not checked yet")
    ),
    ReasonCode.CHECK_DUE: CauseTexts(
        _lazy("%(thing)s is due for its check on %(day)s"), _lazy("%(thing)s due for its check")
    ),
}
"""Why units do not count, or may not stay inside."""

_ON_HOLD: dict[str, VerdictTexts] = {
    "recall": VerdictTexts(
        _lazy("Do not take this kit: something in it has been recalled."), _lazy("on hold: recall")
    ),
    "failed-check": VerdictTexts(
        _lazy("Do not take this kit: a check has failed."), _lazy("on hold: failed check")
    ),
    "drying": VerdictTexts(
        _lazy("The kit is drying. Check it when it is dry, then release it."),
        _lazy("on hold: drying"),
    ),
    "something-wrong": VerdictTexts(
        _lazy(
            "Somebody reported that something is wrong with this kit: look at it, then release it."
        ),
        _lazy("on hold: something wrong"),
    ),
    "keep-as-it-came-back": VerdictTexts(
        _lazy("The kit must stay as it came back. Do not open or restock it."),
        _lazy("on hold: keep as it came back"),
    ),
    "mixed": VerdictTexts(
        _lazy(
            "The contents of this kit were mixed with another kit’s: count everything in this kit."
        ),
        _lazy("contents mixed up, needs counting"),
    ),
}

VERDICTS: dict[str, VerdictTexts] = {
    ReasonCode.SHORT: VerdictTexts(_line, _short),
    ReasonCode.LOW: VerdictTexts(_line, _lazy("low on %(thing)s")),
    ReasonCode.EMPTY_BY_EYE: VerdictTexts(
        _lazy("%(thing)s: empty or not checked. Top it up."), _lazy("no %(thing)s")
    ),
    ReasonCode.LOW_BY_EYE: VerdictTexts(
        _lazy("%(thing)s: running low."), _lazy("low on %(thing)s")
    ),
    ReasonCode.REPLACED_INSIDE: VerdictTexts(
        lambda f: (
            _(
                "%(thing)s: the kit still has %(old)s, which should have been replaced by "
                "%(day)s. Replace it the next time the kit is open."
            )
            % {"thing": f["thing"], "old": f["old"], "day": day(f["until"])}
        ),
        _lazy("still has %(old)s"),
    ),
    ReasonCode.TAKE_OUT: VerdictTexts(_take_out, _inside),
    ReasonCode.EXPIRED_INSIDE: VerdictTexts(_expired_inside, _inside),
    ReasonCode.DATE_NOT_KNOWN: VerdictTexts(
        _lazy("%(thing)s: expiry date not known for %(count)d; look at the pack."),
        _lazy("no expiry date known for %(thing)s"),
    ),
    ReasonCode.SECTION_AWAY: VerdictTexts(
        _lazy("The section %(section)s is out on its own."), _lazy("pouch %(section)s is out")
    ),
    ReasonCode.LAID_UP: VerdictTexts(
        _lazy("The kit is in storage. Put it back into use and check its contents first."),
        _lazy("in storage"),
    ),
    ReasonCode.LOST: VerdictTexts(
        _lazy("The kit is on record as lost. Scan it to record that it has been found."),
        _lazy("lost"),
    ),
    ReasonCode.TRAINING: VerdictTexts(
        _lazy("This is a training kit and must never be taken on a trip."), _lazy("training kit")
    ),
    ReasonCode.WAITING_TO_BE_SORTED: VerdictTexts(
        _lazy("The kit was handed back and needs sorting: check its contents."),
        _lazy("needs sorting"),
    ),
    ReasonCode.WITHHELD: VerdictTexts(
        lambda f: _worded(_ON_HOLD[f["reason"]].sentence, f),
        lambda f: _worded(_ON_HOLD[f["reason"]].brief, f),
    ),
    ReasonCode.LIST_EMPTY: VerdictTexts(
        _lazy("The kit list is empty: choose another version."),
        _lazy("its kit list is empty"),
    ),
    ReasonCode.LIST_NOT_SIGNED: VerdictTexts(
        _lazy("The kit list has not been signed by the medical adviser."),
        _lazy("kit list not signed"),
    ),
    ReasonCode.SIGNATURE_ENDS: VerdictTexts(
        lambda f: (
            _("The signature on the kit list ends on %(day)s.") % {"day": day(f["signed_until"])}
        ),
        lambda f: _("kit list signed only until %(day)s") % {"day": short_day(f["signed_until"])},
    ),
    ReasonCode.NOT_LOOKED_INSIDE: VerdictTexts(
        _not_looked_inside, _lazy("contents not checked recently")
    ),
    ReasonCode.FROST: VerdictTexts(
        _temperature(
            _lazy(
                "Protect from frost: %(things)s (temperatures where the kit is kept "
                "fall to %(degrees)d °C)."
            )
        ),
        _lazy("protect from frost"),
    ),
    ReasonCode.HEAT: VerdictTexts(
        _temperature(
            _lazy(
                "Protect from heat: %(things)s (temperatures where the kit is kept "
                "reach %(degrees)d °C)."
            )
        ),
        _lazy("protect from heat"),
    ),
    ReasonCode.TOO_FEW_PEOPLE: VerdictTexts(
        lambda f: (
            _("There are %(people)d people on the trip, but its kits serve only %(served)d.") % f
            if f["served"]
            else _("There are %(people)d people on the trip, and no kit serves them.") % f
        ),
        lambda f: (
            _("the trip’s kits serve %(served)d of %(people)d people") % f
            if f["served"]
            else _("no kit serves the trip’s %(people)d people") % f
        ),
    ),
    ReasonCode.TOO_FEW_DAYS: VerdictTexts(
        lambda f: (
            _(
                "The trip lasts %(days)d days; for that long, its kits serve only %(served)d of "
                "%(people)d people."
            )
            % f
            if f["served"]
            else _("The trip lasts %(days)d days, and none of its kits is made for that long.") % f
        ),
        _lazy("the trip’s kits are not enough for %(days)d days"),
    ),
    ReasonCode.HAZARDS_NOT_SERVED: VerdictTexts(
        hazard_texts.not_served, hazard_texts.not_served_in_brief
    ),
    ReasonCode.NOTHING_FOR_CHILDREN: VerdictTexts(
        _lazy("There are children on the trip, and none of its kits has anything for children."),
        _lazy("nothing for children"),
    ),
    ReasonCode.LATEX_INSIDE: VerdictTexts(
        lambda f: (
            _("%(kit)s contains latex, but the trip needs latex-free kits: %(things)s.")
            % {"kit": f["kit"], "things": ", ".join(f["things"])}
        ),
        _lazy("latex inside"),
    ),
}
"""Every reason of a verdict."""

NOT_PUT_IN: dict[ReasonCode, Promise] = {
    ReasonCode.RECALLED: _lazy("%(batch)s has been recalled by its maker: put it in quarantine."),
    ReasonCode.CHECK_FAILED: _lazy(
        "%(batch)s failed its check: have it repaired, then check it again."
    ),
    ReasonCode.WITHHELD: _lazy(
        "%(batch)s is on hold: use another batch, or release this one first."
    ),
    ReasonCode.UNSIGNED_MEDICINE: _lazy(
        "%(batch)s is a medicine that is not on any currently signed kit list for %(kit)s: ask "
        "the medical adviser to sign a list that includes it."
    ),
    ReasonCode.DATE_NOT_KNOWN: _lazy(
        "%(batch)s has no expiry date on record: read the date from the pack and correct the batch."
    ),
    ReasonCode.TRAINING_STOCK: _lazy(
        "%(batch)s is for training and may only go into training kits."
    ),
    ReasonCode.EXPIRED: _lazy(
        "%(batch)s went out of date on %(day)s: dispose of it and use another batch."
    ),
    ReasonCode.OPENED_TOO_LONG: _lazy(
        "%(batch)s was opened too long ago and went out of date on %(day)s: dispose of it and "
        "use another batch."
    ),
}
"""Why units are not put into a kit, with what to do."""
