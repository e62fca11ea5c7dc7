"""Every code of `ReasonCode` in words: what it says in a verdict, in full and in a few words; what
is wrong with units; and what was irregular about an entry."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from kits.rules.ledger.facts import Reason, Weight
from kits.rules.ledger.reasons import OUT_OF_DATE, ReasonCode
from kits.services.text.hazards import hazards
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


def irregular(code: str) -> str:
    """The rule that an entry broke, as a sentence. Codes that are no longer written are named."""
    return str(IRREGULAR.get(code) or code.replace("-", " ").capitalize() + ".")


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
    numbers = {
        "usable": facts["usable"],
        "carry": facts["carry"],
        "least": facts["never_below"],
    }
    cause = CAUSES.get(facts["cause"])
    if cause is None:
        return _("%(thing)s: %(usable)d of %(carry)d there, minimum %(least)d.") % {
            "thing": thing,
            **numbers,
        }
    text = str(cause.of_line) % {"thing": thing, "day": _first_day(facts)}
    if question and facts["cause"] not in OUT_OF_DATE:
        text = f"{text} ({question})"
    return _("%(said)s; %(usable)d of %(carry)d good, minimum %(least)d.") % {
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
        return _("Nobody is on record as having checked its contents: check them.")
    return _("Contents last checked on %(day)s: check them again by %(by)s.") % {
        "day": day(facts["looked_inside_on"]),
        "by": day(facts["look_by"]),
    }


def _temperature(text: Promise) -> Text:
    return lambda f: str(text) % {"things": ", ".join(f["things"]), "degrees": f["reaches_c"]}


def _of_hazards(text: Promise) -> Text:
    return lambda f: str(text) % {"hazards": ", ".join(hazards(f["hazards"]))}


@dataclass(frozen=True)
class CauseTexts:
    """What is wrong with units: as the cause of a line that has too little, and in the few words
    of a verdict that has them inside."""

    of_line: Promise
    inside: Promise


CAUSES: dict[str, CauseTexts] = {
    ReasonCode.RECALLED: CauseTexts(
        _lazy("%(thing)s is recalled by its maker"), _lazy("recalled %(thing)s inside")
    ),
    ReasonCode.WITHHELD: CauseTexts(
        _lazy("%(thing)s is on hold"), _lazy("%(thing)s inside is on hold")
    ),
    ReasonCode.TRAINING_STOCK: CauseTexts(
        _lazy("%(thing)s is for training only"), _lazy("%(thing)s for training inside")
    ),
    ReasonCode.UNSIGNED_MEDICINE: CauseTexts(
        _lazy("%(thing)s is on no signed kit list"), _lazy("%(thing)s inside is on no signed list")
    ),
    ReasonCode.EXPIRED: CauseTexts(
        _lazy("%(thing)s: last good day %(day)s"), _lazy("%(thing)s out of date")
    ),
    ReasonCode.OPENED_TOO_LONG: CauseTexts(
        _lazy("%(thing)s: last good day %(day)s"), _lazy("%(thing)s open too long")
    ),
    ReasonCode.DATE_NOT_KNOWN: CauseTexts(
        _lazy("the date of %(thing)s is not known"), _lazy("date of %(thing)s not known")
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
        _lazy("Do not take it: something in it is recalled."), _lazy("on hold: recall")
    ),
    "failed-check": VerdictTexts(
        _lazy("Do not take it: a check failed."), _lazy("on hold: failed check")
    ),
    "drying": VerdictTexts(
        _lazy("It is drying. Check it when it is dry, then release it."), _lazy("on hold: drying")
    ),
    "something-wrong": VerdictTexts(
        _lazy("Somebody reported that something is wrong with it: look, then release."),
        _lazy("on hold: something wrong"),
    ),
    "keep-as-it-came-back": VerdictTexts(
        _lazy("It is to stay as it came back. Do not open or restock it."),
        _lazy("on hold: keep as it came back"),
    ),
    "mixed": VerdictTexts(
        _lazy("Its contents were mixed with another kit’s: count all of it."),
        _lazy("contents mixed, count it"),
    ),
}

VERDICTS: dict[str, VerdictTexts] = {
    ReasonCode.SHORT: VerdictTexts(_line, _short),
    ReasonCode.LOW: VerdictTexts(_line, _lazy("low on %(thing)s")),
    ReasonCode.EMPTY_BY_EYE: VerdictTexts(
        _lazy("%(thing)s: empty, or nobody has checked. Top it up."), _lazy("no %(thing)s")
    ),
    ReasonCode.LOW_BY_EYE: VerdictTexts(
        _lazy("%(thing)s: running low."), _lazy("low on %(thing)s")
    ),
    ReasonCode.TAKE_OUT: VerdictTexts(_take_out, _inside),
    ReasonCode.EXPIRED_INSIDE: VerdictTexts(_expired_inside, _inside),
    ReasonCode.DATE_NOT_KNOWN: VerdictTexts(
        _lazy("%(thing)s: the date of %(count)d is not known; look at the pack."),
        _lazy("date of %(thing)s not known"),
    ),
    ReasonCode.SECTION_AWAY: VerdictTexts(
        _lazy("The section %(section)s is out on its own."), _lazy("pouch %(section)s is out")
    ),
    ReasonCode.LAID_UP: VerdictTexts(
        _lazy("It is in storage. Put it back into use and check its contents first."),
        _lazy("in storage"),
    ),
    ReasonCode.LOST: VerdictTexts(
        _lazy("It is on record as lost. Scan it to record that it was found."), _lazy("lost")
    ),
    ReasonCode.TRAINING: VerdictTexts(
        _lazy("It is a training kit and never goes on a trip."), _lazy("training kit")
    ),
    ReasonCode.WAITING_TO_BE_SORTED: VerdictTexts(
        _lazy("It was handed back and needs sorting: check its contents."), _lazy("needs sorting")
    ),
    ReasonCode.WITHHELD: VerdictTexts(
        lambda f: _worded(_ON_HOLD[f["reason"]].sentence, f),
        lambda f: _worded(_ON_HOLD[f["reason"]].brief, f),
    ),
    ReasonCode.LIST_EMPTY: VerdictTexts(
        _lazy("Its kit list has no lines: choose another version."),
        _lazy("its kit list is empty"),
    ),
    ReasonCode.LIST_NOT_SIGNED: VerdictTexts(
        _lazy("Its kit list is not signed by the medical adviser."), _lazy("kit list not signed")
    ),
    ReasonCode.SIGNATURE_ENDS: VerdictTexts(
        lambda f: (
            _("The signature of its kit list ends on %(day)s.") % {"day": day(f["signed_until"])}
        ),
        lambda f: _("kit list signed only until %(day)s") % {"day": short_day(f["signed_until"])},
    ),
    ReasonCode.NOT_LOOKED_INSIDE: VerdictTexts(
        _not_looked_inside, _lazy("contents not checked lately")
    ),
    ReasonCode.FROST: VerdictTexts(
        _temperature(_lazy("Keep from frost: %(things)s (where it lives reaches %(degrees)d °C).")),
        _lazy("keep from frost"),
    ),
    ReasonCode.HEAT: VerdictTexts(
        _temperature(_lazy("Keep from heat: %(things)s (where it lives reaches %(degrees)d °C).")),
        _lazy("keep from heat"),
    ),
    ReasonCode.TOO_FEW_PEOPLE: VerdictTexts(
        _lazy("The trip has %(people)d people and its kits serve %(served)d."),
        _lazy("the trip's kits serve %(served)d of %(people)d people"),
    ),
    ReasonCode.TOO_FEW_DAYS: VerdictTexts(
        _lazy(
            "The trip lasts %(days)d days; its kits serve %(served)d of %(people)d people that "
            "long."
        ),
        _lazy("the trip's kits are not made for %(days)d days"),
    ),
    ReasonCode.HAZARDS_NOT_SERVED: VerdictTexts(
        _of_hazards(_lazy("No kit of the trip is made for: %(hazards)s.")),
        _of_hazards(_lazy("not made for %(hazards)s")),
    ),
    ReasonCode.NOTHING_FOR_CHILDREN: VerdictTexts(
        _lazy("Children are on the trip, and no kit of it carries things for children."),
        _lazy("nothing for children"),
    ),
    ReasonCode.LATEX_INSIDE: VerdictTexts(
        lambda f: (
            _("%(kit)s carries latex, and the trip asked for none: %(things)s.")
            % {"kit": f["kit"], "things": ", ".join(f["things"])}
        ),
        _lazy("latex inside"),
    ),
}
"""Every reason of a verdict."""

NOT_PUT_IN: dict[ReasonCode, Promise] = {
    ReasonCode.RECALLED: _lazy("%(batch)s is recalled by its maker: put it into quarantine."),
    ReasonCode.CHECK_FAILED: _lazy(
        "%(batch)s failed its check: have it repaired, then check it again."
    ),
    ReasonCode.WITHHELD: _lazy("%(batch)s is on hold: take another batch, or release it first."),
    ReasonCode.UNSIGNED_MEDICINE: _lazy(
        "%(batch)s is a medicine that no kit list of %(kit)s signed today asks for: have the "
        "medical adviser sign a list with it."
    ),
    ReasonCode.DATE_NOT_KNOWN: _lazy(
        "%(batch)s has no date on record: read it off the pack and correct the batch."
    ),
    ReasonCode.TRAINING_STOCK: _lazy("%(batch)s is for training and goes into training kits only."),
    ReasonCode.EXPIRED: _lazy(
        "%(batch)s went out of date on %(day)s: dispose of it and take another batch."
    ),
    ReasonCode.OPENED_TOO_LONG: _lazy(
        "%(batch)s went out of date on %(day)s, as an opened pack: dispose of it and take "
        "another batch."
    ),
}
"""Why units are not put into a kit, with what to do."""

IRREGULAR: dict[str, Promise] = {
    ReasonCode.WAS_OUT: _lazy(
        "On record somebody else had it: their time with it was ended when this one began."
    ),
    ReasonCode.WAS_NOT_OUT: _lazy("On record it was not out; that is corrected."),
    ReasonCode.WAS_NOT_TAKEN_OUT: _lazy(
        "On record it was in the gear room: it is recorded as taken out to whom it was passed."
    ),
    ReasonCode.EMERGENCY: _lazy("It went for an emergency, whatever its state."),
    ReasonCode.NOT_CLEARED: _lazy(
        "Whoever was named as having cleared it by phone says they did not."
    ),
    ReasonCode.RESERVED_FOR_ANOTHER: _lazy("It was reserved for another guide’s trip then."),
    ReasonCode.TRIP_CANCELLED: _lazy("It went for a trip that was cancelled."),
    ReasonCode.TRIP_OVER: _lazy("It went for a trip that was over."),
    ReasonCode.OUT_OF_ORDER: _lazy(
        "It changed hands again since then: this is history, and who has it now stays as it is."
    ),
    ReasonCode.SEAL_NOT_THE_ONE: _lazy(
        "The seal is not the one on record, so it counts as opened."
    ),
    ReasonCode.NO_SEAL_ON_RECORD: _lazy("No seal is on record, so it needs sorting."),
    ReasonCode.USED_MORE: _lazy(
        "More was used than was in it on record: it is recorded as found and used."
    ),
    ReasonCode.BORROWED_MORE: _lazy(
        "More was borrowed than the other kit held on record: it is recorded as found and moved."
    ),
    ReasonCode.KEPT_AS_IT_CAME: _lazy(
        "One of the two kits was to stay as it came back: tell whoever asked for that."
    ),
    ReasonCode.REPORTED_AFTER_SORTING: _lazy(
        "What was used was reported after the kit was sorted: it was not taken out of its contents."
    ),
    ReasonCode.MORE_ARRIVED: _lazy("More arrived than was sent: count the shelf it came from."),
    ReasonCode.CHECKED_SINCE: _lazy(
        "It was checked later than that already: the later check counts."
    ),
    ReasonCode.COUNTED_SINCE: _lazy(
        "It was counted since then: what was used is not taken from what the count found."
    ),
    ReasonCode.RECORD_SAYS_OTHERWISE: _lazy(
        "Nothing of the batch was found where some is on record."
    ),
    ReasonCode.MORE_THAN_ON_RECORD: _lazy("More of the batch was found than was there on record."),
    ReasonCode.RECALLED: _lazy("Something in it is recalled by its maker."),
    ReasonCode.WITHHELD: _lazy("It was on hold, and not to be used."),
    ReasonCode.FAILED_CHECK: _lazy("Something was put in that failed its check."),
    ReasonCode.EXPIRED_ON_ARRIVAL: _lazy("It was out of date when it arrived."),
    ReasonCode.EXPIRED: _lazy("Something was put in that is out of date."),
    ReasonCode.UNSIGNED_MEDICINE: _lazy("A medicine was put in that no signed kit list asks for."),
    ReasonCode.UNDATED: _lazy("Something was put in whose date is not known."),
    ReasonCode.TRAINING_STOCK: _lazy("Training stock was put in."),
    ReasonCode.FOUND_RECALLED: _lazy("Something was found in it that is recalled by its maker."),
    ReasonCode.FOUND_WITHHELD: _lazy("Something was found in it that is on hold."),
    ReasonCode.FOUND_TRAINING_STOCK: _lazy("Training stock was found in it."),
    ReasonCode.FOUND_UNSIGNED_MEDICINE: _lazy(
        "A medicine was found in it that no signed kit list asks for."
    ),
    ReasonCode.FOUND_EXPIRED: _lazy("Something was found in it that is out of date."),
    ReasonCode.FOUND_OPENED_TOO_LONG: _lazy(
        "Something was found in it that was opened too long ago."
    ),
    ReasonCode.FOUND_DATE_NOT_KNOWN: _lazy("Something was found in it whose date is not known."),
    ReasonCode.FOUND_CHECK_FAILED: _lazy("Something was found in it that failed its check."),
    ReasonCode.FOUND_CHECK_NOT_ANSWERED: _lazy(
        "Something was found in it that has not been checked yet."
    ),
    ReasonCode.FOUND_CHECK_DUE: _lazy("Something was found in it that is due for its check."),
    ReasonCode.SHORT: _lazy("It went with less of something than the minimum of its list."),
    ReasonCode.LOW: _lazy("It went with less of something than its list says."),
    ReasonCode.EMPTY_BY_EYE: _lazy("It went with something loose that was empty, or not checked."),
    ReasonCode.LOW_BY_EYE: _lazy("It went with something running low."),
    ReasonCode.EXPIRED_INSIDE: _lazy("It went with something out of date inside."),
    ReasonCode.TAKE_OUT: _lazy("It went with something in it that must come out first."),
    ReasonCode.DATE_NOT_KNOWN: _lazy("It went with something in it whose date is not known."),
    ReasonCode.SECTION_AWAY: _lazy("It went while one of its sections was out on its own."),
    ReasonCode.LAID_UP: _lazy("It went although it is in storage."),
    ReasonCode.LOST: _lazy("It went although it was on record as lost."),
    ReasonCode.TRAINING: _lazy("It went although it is a training kit."),
    ReasonCode.WAITING_TO_BE_SORTED: _lazy("It went before it was sorted."),
    ReasonCode.LIST_EMPTY: _lazy("It went although its kit list has no lines."),
    ReasonCode.LIST_NOT_SIGNED: _lazy(
        "It went although its kit list was not signed by the medical adviser."
    ),
    ReasonCode.SIGNATURE_ENDS: _lazy("It went although the signature of its kit list ends before."),
    ReasonCode.NOT_LOOKED_INSIDE: _lazy(
        "It went although its contents had not been checked for too long."
    ),
    ReasonCode.FROST: _lazy(
        "It went with something that the frost where it lives may have spoilt."
    ),
    ReasonCode.HEAT: _lazy("It went with something that the heat where it lives may have spoilt."),
    ReasonCode.TOO_FEW_PEOPLE: _lazy("The kits of its trip serve fewer people than go."),
    ReasonCode.TOO_FEW_DAYS: _lazy("The kits of its trip serve fewer days than it lasts."),
    ReasonCode.HAZARDS_NOT_SERVED: _lazy("No kit of its trip is made for some of its hazards."),
    ReasonCode.NOTHING_FOR_CHILDREN: _lazy(
        "Children went, and no kit of its trip carries things for children."
    ),
    ReasonCode.LATEX_INSIDE: _lazy("It carries latex, and its trip asked for none."),
}
"""Every rule that a reported fact may break, as a sentence."""
