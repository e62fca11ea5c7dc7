"""Advice for a trip of somebody outside: its states, until when it counts, and what it may never
say: medicines, doses, and what nobody in the group is trained to use."""

import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class State(StrEnum):
    """How far a piece of advice has got."""

    WAITING = "waiting"  # the link was made, nobody has answered its questions yet
    DRAFT = "draft"  # answered; whoever may send edits the draft
    SENT = "sent"
    WITHDRAWN = "withdrawn"


def state(*, answered: bool, sent: bool, withdrawn: bool) -> State:
    """The state that these facts come to."""
    if withdrawn:
        return State.WITHDRAWN
    if sent:
        return State.SENT
    return State.DRAFT if answered else State.WAITING


MAY_ANSWER = frozenset({State.WAITING, State.DRAFT})
"""When whoever has the link may answer its questions, or correct the answers."""


# --------------------------------------------------------------------------------- for how long
def latest_day(sent_on: date) -> date:
    """The last day for whose trips advice may count: a year after it was sent."""
    try:
        return sent_on.replace(year=sent_on.year + 1)
    except ValueError:  # sent on 29 February
        return sent_on.replace(year=sent_on.year + 1, day=28)


def counts_until(sent_on: date, chosen: date | None) -> date | None:
    """The day after which advice no longer counts: a year, or an earlier day that was chosen. None
    for a day that is past already or more than a year away."""
    last = latest_day(sent_on)
    day = chosen or last
    return day if sent_on <= day <= last else None


# ---------------------------------------------------------------------------------- what is said
@dataclass(frozen=True)
class Choice:
    """An item that serves a need: whether it is a medicine, and whether only somebody trained for
    the need uses it."""

    item: int
    medicine: bool = False
    training: bool = False


class WhyNothing(StrEnum):
    """Why advice carries nothing for a need that items could serve, or none can."""

    MEDICINE = "medicine"
    UNTRAINED = "untrained"
    NO_ITEM = "no-item"


def may_be_advised(choice: Choice, *, trained: bool) -> bool:
    """Whether advice may name an item for a need: never a medicine, and what needs training only
    where somebody is trained."""
    return not choice.medicine and (trained or not choice.training)


def why_nothing(choices: Iterable[Choice], *, trained: bool) -> WhyNothing | None:
    """Why no item for a need may be advised; None where one may. What training would change comes
    before what it would not."""
    choices = list(choices)
    if any(may_be_advised(each, trained=trained) for each in choices):
        return None
    if any(not each.medicine for each in choices):
        return WhyNothing.UNTRAINED
    return WhyNothing.MEDICINE if choices else WhyNothing.NO_ITEM


_NUMBERS = (
    "half|quarter|a|an|one|two|three|four|five|six|seven|eight|nine|ten|twelve|"
    "halbe|halben|eine|einen|einer|ein|zwei|drei|vier|fünf|sechs|sieben|acht|neun|zehn|zwölf"
)
_UNITS = (
    r"mg|mcg|[µμ]g|ug|ml|cl|cc|iu|ie|i\.u\.|milligrams?|milligramm|micrograms?|mikrogramm|"
    r"millilit(?:er|re)s?|units? per kilo|tabs?|tablets?|tabletten?|pills?|pillen?|capsules?|"
    r"kapseln?|caplets?|drops?|tropfen|puffs?|hub|hübe|sprühstöße?|lozenges?|lutschtabletten?|"
    r"suppositor(?:y|ies)|zäpfchen|doses?|dosis|dosen|teaspoons?|teelöffel|sachets? a day"
)
_DOSE = re.compile(
    rf"(?:\d|\b(?:{_NUMBERS}))[\s\-\u2010-\u2015]*(?:{_UNITS})\b", re.IGNORECASE | re.UNICODE
)


def has_dose(text: str) -> bool:
    """Whether a text says how much of a medicine to give: a number and mg, ml, µg, tablets and the
    like. It rather refuses a text too many."""
    return _DOSE.search(unicodedata.normalize("NFKC", text)) is not None


def medicine_in(text: str, medicines: Iterable[str]) -> str | None:
    """The first medicine of these that a text names, with or without its strength; None for
    none."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return next(
        (
            name
            for name in medicines
            if (bare := _without_strength(name)) and re.search(rf"\b{re.escape(bare)}\b", plain)
        ),
        None,
    )


def _without_strength(name: str) -> str:
    """The name of a medicine up to its strength or form: *paracetamol* of *paracetamol 500 mg*."""
    plain = unicodedata.normalize("NFKC", name).casefold()
    return re.split(r"[\d,(]", plain)[0].strip() or plain


def left_open(
    bound: Mapping[str, int],
    *,
    carried: Mapping[str, int],
    not_carried: Collection[str],
    cannot: Collection[str],
) -> dict[str, int]:
    """The needs of which a trip must have so many units (`bound`) and for which a draft carries
    fewer (`carried`), with how many they are; but those for which nothing can be advised (`cannot`)
    where the draft says so under what is not carried."""
    return {
        need: units
        for need, units in sorted(bound.items())
        if carried.get(need, 0) < units and not (need in cannot and need in not_carried)
    }
