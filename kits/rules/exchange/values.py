"""What may stand in a column of a file, how it is written and how it is read.

What is written is what is read: for every value of a column, `read_cell` of `written` is the value.
What people type besides is read where it means one thing, and refused with what to type where it
does not.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import TypeAlias, TypeVar

from gearroom.core.rules.plain_text import plain
from gearroom.core.rules.sentences import InvalidValue, Sentence, say
from gearroom.core.rules.years import YEARS
from kits.rules.exchange.formulas import neutral, restored
from kits.rules.ledger import PrintedDateError, last_good_day

Value: TypeAlias = str | int | Decimal | bool | date | datetime | tuple[str, ...] | None
"""A value of a column; None, an empty text or no texts: nothing."""
Cell: TypeAlias = str | int | float | Decimal | None
"""What stands in a file: numbers as numbers, everything else as text."""
D = TypeVar("D", bound=date)

MOST_WHOLE = 1_000_000


class Type(StrEnum):
    """What a column holds."""

    TEXT = "text"
    WHOLE = "whole-number"
    AMOUNT = "number"
    YES_NO = "yes-or-no"
    CHOICE = "choice"
    DAY = "date"
    EXPIRY = "expiry-date"
    MOMENT = "date-and-time"
    SEVERAL = "several"


@dataclass(frozen=True)
class Column:
    """A column of a table. `choices` are codes. A text has at most `longest` characters (each, of
    several), a number is from `least` to `most`. `needed`: never empty. `only_read`: it is written
    for whoever reads the file, and a change of it is refused. `refers`: what a text names, such as
    a person. `tells_of_people`: only for whoever may read about people."""

    name: str
    title: Sentence
    meaning: Sentence
    type: Type = Type.TEXT
    choices: tuple[str, ...] = ()
    longest: int = 120
    least: int = 0
    most: int = MOST_WHOLE
    needed: bool = False
    only_read: bool = False
    blank_keeps: bool = False
    refers: str = ""

    @property
    def keeps(self) -> bool:
        """Whether an empty cell leaves what is on record."""
        return self.blank_keeps or self.type in (Type.YES_NO, Type.CHOICE)

    @property
    def empty(self) -> Value:
        """The value of an empty cell."""
        if self.type is Type.SEVERAL:
            return ()
        return "" if self.type is Type.TEXT and not self.refers else None


WORDS: Mapping[str, str] = {
    **dict.fromkeys(("y", "true", "1", "ja", "j", "wahr"), "yes"),
    **dict.fromkeys(("n", "false", "0", "nein", "falsch"), "no"),
    "verbrauchsmaterial": "consumable",
    "medikament": "medicine",
    "arzneimittel": "medicine",
    "instrument": "instrument",
    "messgerät": "instrument",
    "werkzeug": "tool",
    "dokument": "document",
    "must have": "must-have",
    "unverzichtbar": "must-have",
    "wichtig": "important",
    "normal": "routine",
    "üblich": "routine",
    "voll": "full",
    "knapp": "low",
    "leer": "empty",
}
"""What people type for choices besides their codes, in English and German, in small letters."""


# ----------------------------------------------------------------------------------------- written
def written(value: Value) -> Cell:
    """A value as it stands in a file."""
    match value:
        case None:
            return None
        case bool():
            return "yes" if value else "no"
        case int() | Decimal():
            return value
        case datetime():
            return value.isoformat()
        case date():
            return value.isoformat()
        case tuple():
            return neutral(_joined(value)) or None
        case _:
            return neutral(str(value)) or None


def as_text(cell: Cell) -> str:
    """A cell as text: a number as its digits, as a file without types has it."""
    if cell is None:
        return ""
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    return f"{cell:f}" if isinstance(cell, Decimal) else str(cell)


def _joined(texts: Sequence[str]) -> str:
    """Texts in one cell, with semicolons between them; one that has a semicolon or a line break is
    in quotes."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=";").writerow(texts)
    joined = out.getvalue().removesuffix("\r\n")
    return joined if any(";" in text for text in texts) else joined.replace(";", "; ")


# -------------------------------------------------------------------------------------------- read
def read_cell(column: Column, cell: Cell, *, today: date) -> Value:
    """The value that a cell of a column stands for. A time of day without its distance from UTC is
    by the clock of wherever the row is about. Raises InvalidValue."""
    text = plain(restored(as_text(cell))).strip()
    if not text:
        if column.needed:
            raise InvalidValue(say("This is missing. Fill it in."))
        return column.empty
    match column.type:
        case Type.TEXT:
            return _short(text, column)
        case Type.WHOLE:
            return _whole(text, column)
        case Type.AMOUNT:
            return _amount(text, column)
        case Type.YES_NO:
            return _code(text, ("yes", "no")) == "yes"
        case Type.CHOICE:
            return _code(text, column.choices)
        case Type.DAY:
            return _of_our_time(_day(text, today), text)
        case Type.EXPIRY:
            return _expiry(text, today)
        case Type.MOMENT:
            return _of_our_time(_moment(text, today), text)
        case Type.SEVERAL:
            return _several(text, column)


def _short(text: str, column: Column) -> str:
    if len(text) > column.longest:
        raise InvalidValue(
            say(
                "This has %(count)s characters; at most %(most)s fit. Shorten it.",
                count=len(text),
                most=column.longest,
            )
        )
    return text


def _whole(text: str, column: Column) -> int:
    digits = text.removesuffix(".0").removesuffix(",0").replace("\N{MINUS SIGN}", "-")
    if not re.fullmatch(r"-?[0-9]{1,9}", digits, re.ASCII) or not (
        column.least <= int(digits) <= column.most
    ):
        raise InvalidValue(
            say(
                "“%(typed)s” is not a whole number from %(least)s to %(most)s. Enter digits only.",
                typed=text[:40],
                least=column.least,
                most=column.most,
            )
        )
    return int(digits)


def _amount(text: str, column: Column) -> Decimal:
    """A number with a point or a comma before its decimals. Three digits after it may as well be
    thousands, so that is asked for."""
    bare = text.replace("\N{MINUS SIGN}", "-")
    if re.fullmatch(r"-?[0-9]{1,3}[.,][0-9]{3}", bare, re.ASCII):
        whole, decimals = re.split("[.,]", bare)
        raise InvalidValue(
            say(
                "“%(typed)s” may be thousands or decimals. Enter %(thousands)s or %(decimals)s.",
                typed=text[:40],
                thousands=whole + decimals,
                decimals=f"{whole}.{decimals}0",
            )
        )
    try:
        if not re.fullmatch(r"-?[0-9]{1,9}(?:[.,][0-9]{1,6})?", bare, re.ASCII):
            raise InvalidOperation
        number = Decimal(bare.replace(",", "."))
        if not column.least <= number <= column.most:
            raise InvalidOperation
    except InvalidOperation:
        raise InvalidValue(
            say(
                "“%(typed)s” is not a number from %(least)s to %(most)s. Enter it like 2.5.",
                typed=text[:40],
                least=column.least,
                most=column.most,
            )
        ) from None
    return number


def _code(text: str, choices: Sequence[str]) -> str:
    typed = " ".join(text.split()).casefold()
    code = typed if typed in choices else WORDS.get(typed, "")
    if code not in choices:
        raise InvalidValue(
            say(
                "“%(typed)s” is not one of the options. Enter one of these: %(choices)s.",
                typed=text[:40],
                choices=", ".join(choices),
            )
        )
    return code


def _several(text: str, column: Column) -> tuple[str, ...]:
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=";", skipinitialspace=True)
    texts = (each.strip() for line in lines for each in line)
    stripped = tuple(_short(each, column) for each in texts if each)
    if not column.choices:
        return stripped
    chosen = {_code(each, column.choices) for each in stripped}
    return tuple(choice for choice in column.choices if choice in chosen)


def _expiry(text: str, today: date) -> date:
    try:
        return last_good_day(text, today=today)
    except PrintedDateError as error:
        raise InvalidValue(error.says) from error


_MONTH_ALONE = re.compile(
    r"[0-9]{4}|[0-9]{1,2}[ ./,-]+(?:[0-9]{2}|[0-9]{4})|[0-9]{4}[ ./,-]+[0-9]{1,2}"
    r"|[A-Za-z]+[ ./,-]*(?:[0-9]{2}|[0-9]{4})|[0-9]{4}[ ./,-]*[A-Za-z]+",
    re.ASCII,
)


def _day(text: str, today: date) -> date:
    """A day as people type it; one that may be two is refused with both."""
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text, re.ASCII):
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise _no_day(text) from None
    if _MONTH_ALONE.fullmatch(text):
        raise _no_day(text)
    try:
        return last_good_day(text, today=today)
    except PrintedDateError as error:
        raise (InvalidValue(error.says) if error.readings else _no_day(text)) from error


def _of_our_time(read: D, text: str) -> D:
    if read.year not in YEARS:
        raise InvalidValue(
            say(
                "“%(typed)s” cannot be right: the year has to be from %(first)s to %(last)s.",
                typed=text[:40],
                first=YEARS[0],
                last=YEARS[-1],
            )
        )
    return read


def _no_day(text: str) -> InvalidValue:
    return InvalidValue(
        say("“%(typed)s” is not a day. Enter it as 2027-05-31 or 31.05.2027.", typed=text[:40])
    )


_CLOCK = re.compile(r"(?P<day>.+?)[ T,]+(?P<hour>[0-9]{1,2})[:.h](?P<minute>[0-9]{2})(?::00)?")


def _moment(text: str, today: date) -> datetime:
    try:
        if re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ]", text, re.ASCII):
            return datetime.fromisoformat(text)
    except ValueError:
        pass  # what people type
    typed = _CLOCK.fullmatch(text)
    if typed is None:
        raise InvalidValue(
            say(
                "“%(typed)s” is not a day with a time. Enter it as 2027-05-31 08:30.",
                typed=text[:40],
            )
        )
    day = _day(typed["day"], today)
    try:
        at = time(int(typed["hour"]), int(typed["minute"]))
    except ValueError:
        raise InvalidValue(
            say("“%(typed)s” has no time of day. Enter it as 08:30.", typed=text[:40])
        ) from None
    return datetime.combine(day, at)
