"""Makers' codes: what a pack's own symbol says of its item, batch and expiry.

Reads GS1 element strings (GS1 General Specifications, section 3) from GS1 DataMatrix, GS1-128 and
GS1 QR Code, retail codes (GTIN-8, -12, -13, -14), GS1 Digital Link addresses, and the bracketed
text printed under a symbol. The separator FNC1 is wanted after every element of variable length,
yet many scanners drop it. Then a batch may run to the end of the text or stop anywhere before the
next element: all such readings are given, best first, for a person to confirm against the pack.
"""

import calendar
import contextlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from biip import ParseConfig, ParseError
from biip.gs1_application_identifiers import GS1ApplicationIdentifier
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_element_strings import GS1ElementString
from biip.upc import Upc
from stdnum import ean

from gearroom.core.rules.sentences import InvalidValue, Sentence, say

FNC1 = "\x1d"

# Section 7.11, figure 7.11-1: the 82 characters that an element may hold. Whatever else stands in
# a message can only be a scanner's stand-in for FNC1.
_CHARACTER_SET_82 = r"!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z"
_NOT_IN_SET_82 = re.compile(f"[^{_CHARACTER_SET_82}]+")
_FNC1_WRITTEN_OUT = re.compile(r"<GS>|\{GS\}|\[GS\]|<FNC1>|\{FNC1\}|\[FNC1\]|\\x1d|\\u001d", re.I)
_BRACKETED = re.compile(r"[(\[](\d{2,4})[)\]]")
# Section 5.1.4 and ISO/IEC 15424: symbols that carry a message, and symbols that carry a GTIN.
_MESSAGE_IDENTIFIERS = ("]C1", "]d2", "]Q3", "]e0", "]e1", "]e2", "]J1")
_RETAIL_IDENTIFIERS = ("]E0", "]E3", "]E4", "]I1", "]I0")
_IDENTIFIER = re.compile(r"\][A-Za-z][0-9A-Za-z]")
# What is looked for behind a batch or serial number whose FNC1 was dropped. The company-internal
# 90 to 99 and trade measures are left out: they do not stand on a first aid pack.
_MAY_FOLLOW = ("01", "10", "11", "12", "13", "15", "16", "17", "21", "30", "37", "240")
# What a message may start with where no symbology identifier tells it from a retail code.
_STARTS = ("00", "01", "02", "10", "11", "12", "13", "15", "16", "17", "21", "240")
_DATES = ("11", "12", "13", "15", "16", "17")
_PLACES = {
    "01": "gtin",
    "02": "gtin",
    "10": "lot",
    "17": "expiry",
    "21": "serial",
    "30": "count",
    "37": "count",
}
"""The elements that a `Pack` has a place for."""
_FIELDS = dict.fromkeys(_DATES, "date") | {
    "01": "gtin",
    "02": "gtin",
    "17": "expiry",
    "7003": "expiry",
}
"""What an element is called in a `MakersCodeError`; "code" for any other."""
_NO_DATE_CHECK = ParseConfig(gs1_element_strings_verify_date=False)


class MakersCodeError(InvalidValue):
    """A maker's code that cannot be right. `field`: "gtin", "expiry", "date" or "code"."""

    def __init__(self, field: str, says: Sentence) -> None:
        super().__init__(says)
        self.field = field


@dataclass(frozen=True)
class Pack:
    """One reading of a maker's code. `gtin` has 14 digits; `count` is units said to be inside;
    `others` are the elements without a place of their own, as (application identifier, value)."""

    gtin: str | None = None
    expiry: date | None = None
    lot: str | None = None
    count: int | None = None
    serial: str | None = None
    others: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class MakersCode:
    """All readings of a maker's code, best first. `confirm`: a person must choose, even if only
    one is offered; where it is false there is exactly one candidate."""

    candidates: tuple[Pack, ...]
    confirm: bool

    @property
    def best(self) -> Pack:
        """The reading that explains most."""
        return self.candidates[0]


_Elements = tuple[tuple[str, str], ...]


def gs1_date(yymmdd: str, today: date) -> date:
    """Return the day that six digits name. Raises ValueError where there is no such day.

    Day 00 is the month's last day (section 3.4.7). The century is the sliding window of section
    7.12: from 49 years before `today`'s year to 50 years after it.
    """
    year, month, day = int(yymmdd[:2]), int(yymmdd[2:4]), int(yymmdd[4:])
    ahead = year - today.year % 100
    year += today.year - today.year % 100 + (-100 if ahead >= 51 else 100 if ahead <= -50 else 0)
    if not 1 <= month <= 12:
        raise ValueError("no such month")
    return date(year, month, day or calendar.monthrange(year, month)[1])


def parse(text: str, *, today: date, fnc1_kept: bool = False) -> MakersCode:
    """Read a maker's code as a scanner sends it or a person types it.

    `today` fixes the century of dates. `fnc1_kept` says that the text came straight from a symbol
    whose FNC1 is known to be in it as GS (0x1D); nothing is then guessed. Raises MakersCodeError
    where a part is wrong, naming the part and what to do.
    """
    text = _FNC1_WRITTEN_OUT.sub(FNC1, text.strip(" \t\r\n").replace("\u241d", FNC1))
    identifier = text[:3] if _IDENTIFIER.match(text) else ""
    text = text[len(identifier) :]
    if text.lower().startswith(("http://", "https://")):
        return MakersCode((_pack(_digital_link(text), today),), confirm=False)
    if _BRACKETED.match(text):
        return MakersCode((_pack(_bracketed(text), today),), confirm=False)

    retail: list[Pack] = []
    if identifier not in _MESSAGE_IDENTIFIERS and not fnc1_kept:
        retail = [Pack(gtin=gtin) for gtin in _retail(text)]
        if retail and identifier in _RETAIL_IDENTIFIERS:
            return MakersCode(tuple(retail), confirm=len(retail) > 1)
    try:
        message = _message(text, today, fnc1_kept, identifier in _MESSAGE_IDENTIFIERS)
    except MakersCodeError:
        if not retail:
            raise
        message = MakersCode((), confirm=False)
    # A retail code that also reads as a batch or a date: both are offered, the item first.
    rivals = [p for p in message.candidates if not retail or p.lot or p.expiry]
    candidates = (*retail, *rivals)
    return MakersCode(candidates, confirm=len(candidates) > 1 or (message.confirm and not retail))


def _retail(text: str) -> list[str]:
    """Return the GTINs, as 14 digits, that a bare retail code may be; UPC-E is expanded."""
    digits = re.sub(r"[\s-]", "", text)
    if not re.fullmatch(r"[0-9]{8}|[0-9]{12,14}", digits):
        return []
    gtins = [digits.zfill(14)] if ean.is_valid(digits) else []
    if len(digits) == 8 and digits[0] in "01":
        with contextlib.suppress(ParseError):
            gtins.append(str(Upc.parse(digits).as_gtin_14()))
    return gtins


def _digital_link(text: str) -> _Elements:
    try:
        link = GS1DigitalLinkURI.parse(text, config=_NO_DATE_CHECK)
    except (ParseError, ValueError) as error:
        raise MakersCodeError(
            "code", say("This is a web link, not a maker’s code. Scan the other code on the pack.")
        ) from error
    return tuple((element.ai.ai, element.value) for element in link.element_strings)


def _bracketed(text: str) -> _Elements:
    """Split text as printed under a symbol: `(01)…(17)…(10)…`."""
    pieces = _BRACKETED.split(text)[1:]
    elements = []
    for ai, value in zip(pieces[::2], pieces[1::2], strict=True):
        value = value.strip(" \t\r\n" + FNC1)
        try:
            element = GS1ElementString.parse(ai + value, config=_NO_DATE_CHECK)
        except ParseError as error:
            raise MakersCodeError(_field(ai), _complaint(ai, value)) from error
        elements.append((ai, element.value))
    return tuple(elements)


def _message(text: str, today: date, fnc1_kept: bool, marked: bool) -> MakersCode:
    """Read a message without brackets, its FNC1 kept, stood in for, or dropped.

    `marked`: its symbol is known to hold a message, so that it may start with any element.
    """
    body = _NOT_IN_SET_82.sub(FNC1, text)
    confirmed = fnc1_kept or FNC1 in body
    body = body.strip(FNC1)
    errors: list[MakersCodeError] = []
    packs: dict[Pack, int] = {}
    missing = False
    if not (confirmed or marked or body.startswith(_STARTS)):
        raise _unknown(text)
    for elements in _readings(body, (), confirmed, today, errors):
        try:
            pack = _pack(elements, today)
        except MakersCodeError as error:
            errors.append(error)
            continue
        missing |= any(
            GS1ApplicationIdentifier.extract(ai).separator_required for ai, _ in elements[:-1]
        )
        packs[pack] = min(len(elements), packs.get(pack, len(elements)))
    if not packs:
        if " " in text.strip():
            return _message(re.sub(r"\s+", "", text), today, fnc1_kept, marked)
        raise errors[0] if errors else _unknown(text)
    ranked = sorted(
        packs, key=lambda pack: (-_usefulness(pack, today), packs[pack], -len(pack.lot or ""))
    )
    # A split that failed on its check digit or date alone is also a sign that FNC1 is missing.
    missing |= any(error.field != "code" for error in errors)
    return MakersCode(tuple(ranked), confirm=not confirmed and (len(ranked) > 1 or missing))


def _readings(
    rest: str, before: _Elements, sure: bool, today: date, errors: list[MakersCodeError]
) -> Iterator[_Elements]:
    """Give every way to split `rest` into elements, after those `before` it."""
    rest = rest.lstrip(FNC1)
    if not rest:
        yield before
        return
    try:
        first = GS1ElementString.extract(rest, config=_NO_DATE_CHECK)
    except ParseError:
        errors.append(_why_not(rest, before))
        return
    ai, longest = first.ai.ai, first.value
    if not sure and ai in dict(before):
        return
    try:
        _checked(ai, longest, today)
    except MakersCodeError as error:
        errors.append(error)
        return
    ends = [len(longest)]
    if not sure and re.search(r"\.\.", first.ai.format):
        ends = list(range(len(longest), 0, -1))
    for end in ends:
        tail = rest[len(ai) + end :]
        if end < len(longest) and not tail.startswith(_MAY_FOLLOW):
            continue
        yield from _readings(tail, (*before, (ai, longest[:end])), sure, today, errors)


def _checked(ai: str, value: str, today: date) -> None:
    """Raise MakersCodeError where a GTIN's check digit or a date is wrong."""
    if ai in ("01", "02") and not ean.is_valid(value):
        raise MakersCodeError("gtin", _complaint(ai, value))
    if ai in _DATES:
        try:
            gs1_date(value, today)
        except ValueError as error:
            raise MakersCodeError(_field(ai), _complaint(ai, value)) from error


def _pack(elements: _Elements, today: date) -> Pack:
    values: dict[str, str] = {}
    others = []
    for ai, value in elements:
        _checked(ai, value, today)
        if ai in _PLACES:
            values[_PLACES[ai]] = value
        elif ai != "7003":
            others.append((ai, value))
    day = values.get("expiry", dict(elements).get("7003", "")[:6])  # of 7003 the day, not the hour
    if not (values.keys() & {"gtin", "lot"} or day):
        raise MakersCodeError(
            "code",
            say(
                "This code contains no item, batch or expiry date. Scan the other code on the pack."
            ),
        )
    return Pack(
        gtin=values.get("gtin"),
        expiry=gs1_date(day, today) if day else None,
        lot=values.get("lot"),
        count=int(values["count"]) if "count" in values else None,
        serial=values.get("serial"),
        others=tuple(others),
    )


def _usefulness(pack: Pack, today: date) -> int:
    """How much of what a keeper needs this reading explains; a far-fetched expiry counts less."""
    if pack.expiry is None:
        return 0
    return 2 if -10 <= pack.expiry.year - today.year <= 15 else 1


def _field(ai: str) -> str:
    return _FIELDS.get(ai, "code")


def _complaint(ai: str, value: str) -> Sentence:
    match _field(ai):
        case "gtin":
            return say(
                "The check digit of the item number %(value)s is wrong. Scan the code again, "
                "or type it again.",
                value=value,
            )
        case "expiry":
            return say(
                "The expiry date %(value)s is not a valid date. Read the date on the pack and "
                "enter it.",
                value=value,
            )
        case "date":
            return say(
                "The value %(value)s of element (%(ai)s) is not a valid date. Enter the batch "
                "and expiry date by hand.",
                value=value,
                ai=ai,
            )
        case _:
            return say(
                "Element (%(ai)s) cannot contain %(value)s. Scan the code again, or enter the "
                "batch and expiry date by hand.",
                value=repr(value),
                ai=ai,
            )


def _unknown(text: str) -> MakersCodeError:
    digits = re.sub(r"[\s-]", "", text)
    if re.fullmatch(r"[0-9]{8}|[0-9]{12,14}", digits):
        return MakersCodeError("gtin", _complaint("01", digits))
    return MakersCodeError(
        "code",
        say(
            "This is not a maker’s code. Scan the other code on the pack, or enter the batch "
            "and expiry date."
        ),
    )


def _why_not(rest: str, before: _Elements) -> MakersCodeError:
    """Say what is wrong with the element that `rest` should start with."""
    try:
        ai = GS1ApplicationIdentifier.extract(rest).ai
    except ParseError:
        if not before:
            return _unknown(rest)
        return MakersCodeError(
            "code",
            say(
                "The end of this code, %(rest)s, was not recognised. Enter the batch and "
                "expiry date by hand.",
                rest=repr(rest),
            ),
        )
    length = {"gtin": 14, "expiry": 6, "date": 6}.get(_field(ai), 0)
    value = rest[len(ai) :][:length] if length else rest[len(ai) :].split(FNC1)[0]
    if length and not re.fullmatch(f"[0-9]{{{length}}}", value):
        return MakersCodeError(
            "code",
            say(
                "Element (%(ai)s) of this code is cut off. Scan the code again, or type it again.",
                ai=ai,
            ),
        )
    return MakersCodeError(_field(ai), _complaint(ai, value))
