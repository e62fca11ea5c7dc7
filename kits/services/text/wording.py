"""Acts, dates, amounts and hazards in words that a guide understands; reasons are in
`reason_texts`."""

import math
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import formats
from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, override, pgettext

from gearroom.core.acts import Invalid
from gearroom.core.rules.sentences import GROUPED_FROM, InvalidValue, Sentence


@contextmanager
def as_invalid(field: str) -> Iterator[None]:
    """What a rule refuses meanwhile is an Invalid that names this field."""
    try:
        yield
    except InvalidValue as error:
        raise Invalid(in_words(error.says), field=field) from error


def in_words(sentence: Sentence | str) -> str:
    """A rule's sentence in the language of now; text that is none is left as it is."""
    if isinstance(sentence, str):
        return sentence
    return _(sentence.text) % {name: _fact(of) for name, of in sentence.facts.items()}


def day(value: date) -> str:
    """A date in words, for a sentence: 30 November 2026."""
    return formats.date_format(value, pgettext("date format", "j F Y"))


def good_until(expiry: date | None) -> str:
    """What a confirmation repeats of an expiry date that was typed; nothing where none was."""
    return _("Good until %(day)s.") % {"day": day(expiry)} if expiry else ""


def short_day(day: date) -> str:
    """A date as a tag has room for: 31 Mar 2027."""
    return formats.date_format(day, pgettext("short date format", "j M Y"))


def _fact(of: Any) -> Any:
    match of:
        case Sentence():
            return in_words(of)
        case date():
            return day(of)
        case float() if math.isfinite(of):
            return formats.number_format(Decimal(f"{of:g}"))
        case int() if abs(of) >= GROUPED_FROM:
            return formats.number_format(of, force_grouping=True)
        case _:
            return of


def batch(thing: str, number: str) -> str:
    """A batch in a sentence: the thing, and its maker's number where it has one."""
    if not number:
        return _("%(thing)s, batch without a number,") % {"thing": thing}
    return _("%(thing)s, batch %(number)s,") % {"thing": thing, "number": number}


def moment(value: datetime, zone: str) -> str:
    """An instant in words, by the clock of a room: 30 November, 17:30."""
    return formats.date_format(
        value.astimezone(ZoneInfo(zone)), pgettext("date format", "j F, H:i")
    )


def disposal(way: str) -> str:
    """The bin that something goes into."""
    return str(DISPOSALS[way])


def place(kind: str, name: str, *, with_room: bool) -> str:
    """What a place is called. One that nobody named is on record as its kind and its room."""
    if kind not in _PLACES:
        return name
    _kind, _comma, room = name.partition(", ")
    return ", ".join([str(_PLACES[kind]), *([room] if room and with_room else [])])


def act(kind: str) -> str:
    """What an entry's kind is called in a story: "taken out", "handed back"."""
    return str(_ACTS.get(kind) or kind.replace("-", " "))


def withheld(kind: str) -> str:
    """Why a kit or a batch is kept back, in a word or two, as a heading."""
    return str(_KEPT_BACK[kind])


def hazards(slugs: Iterable[str]) -> list[str]:
    """Hazards in words, in the vocabulary's order."""
    wanted = set(slugs)
    return [str(words) for slug, words in HAZARDS.items() if slug in wanted]


def hazard_slugs() -> dict[str, str]:
    """Hazards by their slugs and by their words in each language of the pages: in small letters,
    without hyphens."""
    slugs = {slug.replace("-", " "): slug for slug in HAZARDS}
    for language, _name in settings.LANGUAGES:
        with override(language):
            slugs |= {
                str(words).casefold().replace("-", " "): slug for slug, words in HAZARDS.items()
            }
    return slugs


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
    "emergency": _lazy("taken out in an emergency"),
    "clearance": _lazy("phone approval answered"),
    "pass": _lazy("passed on"),
    "restock": _lazy("restocked"),
    "reseal": _lazy("sealed"),
    "look-inside": _lazy("contents checked"),
    "take-out": _lazy("unsuitable items removed"),
    "withhold": _lazy("put on hold"),
    "release": _lazy("released"),
    "use": _lazy("use recorded"),
    "unmet-need": _lazy("something needed was missing"),
    "not-ours": _lazy("“not ours” pouch checked"),
    "come-back": _lazy("items returned from a casualty"),
    "write-off": _lazy("written off"),
    "count": _lazy("counted"),
    "reserve": _lazy("reserved for a trip"),
    "unreserve": _lazy("reservation released"),
    "reverse": _lazy("corrected"),
    "build": _lazy("filled"),
    "strip": _lazy("broken down into its items"),
    "empty": _lazy("emptied"),
    "borrow": _lazy("borrowed from another kit"),
    "weather-out": _lazy("moved because of the weather"),
    "weather-back": _lazy("put back after frost, heat or wet"),
    "lost": _lazy("reported lost"),
    "found": _lazy("found again"),
    "lay-up": _lazy("put in storage"),
    "wake": _lazy("put back into use"),
    "label": _lazy("label changed"),
    "kit": _lazy("edited"),
    "follow-list": _lazy("switched to another version of its kit list"),
    "receive": _lazy("received"),
    "move": _lazy("moved"),
    "arrive": _lazy("arrived"),
    "dispose": _lazy("disposed of"),
    "leave": _lazy("sold or given away"),
    "open": _lazy("opened"),
    "recall": _lazy("recalled by its maker"),
    "recall-answer": _lazy("recall answered"),
    "recall-close": _lazy("recall closed"),
    "correct-lot": _lazy("batch corrected"),
    "check": _lazy("checked"),
    "trip": _lazy("trip changed"),
}

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

_PLACES: dict[str, Promise] = {
    **DISPOSALS,
    **WENT,
    "quarantine": _lazy("quarantine"),
    "transit": _lazy("on the way"),
    "training": _lazy("training box"),
    "away": _lazy("went with a casualty"),
    "supplier": _lazy("supplier"),
    "unexplained": _lazy("count difference"),
    "reclassified": _lazy("corrected"),
}
"""The places that nobody gave a name."""

HAZARDS: dict[str, Promise] = {
    "hill": _lazy("hills and mountains"),
    "cave": _lazy("caves and mines"),
    "gorge": _lazy("gorges and sea cliffs"),
    "water": _lazy("open water"),
    "winter": _lazy("snow and ice"),
    "rope": _lazy("rope work"),
    "sharp-tools": _lazy("saws, axes and other sharp tools"),
    "remote": _lazy("hours away from help"),
    "heat": _lazy("extreme heat"),
    "fire": _lazy("stoves and open fires"),
    "animals": _lazy("stings, bites and ticks"),
}
"""The words for the vocabulary of hazards, in its order."""
