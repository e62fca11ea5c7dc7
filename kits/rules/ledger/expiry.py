"""Until when is it good: what a pack says, what an opened pack allows, what a day asks.

A printed month is good through its last day, a printed day through that day. *Needs no date*
(shears) and *date not known* are different things: the first has no limit, the second is a
question that somebody must answer by looking at the pack.
"""

import calendar
import re
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from functools import reduce

from gearroom.core.rules.sentences import InvalidValue, Sentence, say
from kits.rules.ledger.facts import Batch, Kind
from kits.rules.ledger.reasons import OUT_OF_DATE, ReasonCode

WINDOW_YEARS = 50
"""A date farther than this from today, either way, is a misprint or a misreading."""

OLDEST_YEARS = 10
"""Where a date can be read in several ways, one farther back than this is not offered."""


class PrintedDateError(InvalidValue):
    """What was typed is not one date. The message says what to type.

    `printed` is what was typed. `readings` are the last good days it could mean, earliest first,
    when there is more than one; empty when there is none.
    """

    def __init__(self, printed: str, says: Sentence, readings: tuple[date, ...] = ()) -> None:
        super().__init__(says)
        self.printed = printed
        self.readings = readings


_MONTHS = {name.upper(): n for n, name in enumerate(calendar.month_name) if n}
_MONTHS |= {name[:3]: n for name, n in _MONTHS.items()} | {"SEPT": 9}

_MARK = re.compile(r"^(?:EXP(?:IRY|IRES|\.)?(?: DATE)?|USE BY|\(17\))[ :.]*", re.ASCII)
_PART = re.compile(r"[0-9]+|[A-Z]+")
_WHOLE = re.compile(r"(?:[0-9]+|[A-Z]+)(?:[ ./,-]*(?:[0-9]+|[A-Z]+))*", re.ASCII)

# The orders of parts, by their shapes: Y a year of four digits, N one or two digits, A a
# month's name. Each reading says what the parts are: y, m, d. Three short numbers are never
# distinguished by their separator, since every separator is used for every order somewhere.
_READINGS: dict[str, tuple[str, ...]] = {
    "YNN": ("ymd",),
    "NNY": ("dmy", "mdy"),
    "NNN": ("dmy", "mdy"),
    "YN": ("ym",),
    "NY": ("my",),
    "NN": ("my",),
    "AY": ("my",),
    "YA": ("ym",),
    "AN": ("my",),
    "NAY": ("dmy",),
    "NAN": ("dmy",),
    "ANY": ("mdy",),
    "YAN": ("ymd",),
}
_IN_A_ROW = {4: "my", 6: "dmy"}
"""What so many digits without anything between them are, by their number."""

_DOUBTS: dict[str, tuple[str, ...]] = {"NNN": ("ymd",), "NN": ("ym",)}
"""Orders in which a maker may have meant it, but in which nothing is ever read alone: 31/02/27 is
a slip, not a day in 2031. Where one of them is a likely expiry date too, the date is asked for."""


def last_good_day(printed: str, *, today: date) -> date:
    """Return the last day on which a pack with `printed` on it is good.

    Reads `2027-05`, `2027-05-31`, `20270531`, `05/2027`, `05/27`, `0527`, `MAY 2027`,
    `31 MAY 2027`, `31.05.2027` with any of `. / - ,` and space between the parts, GS1's `YYMMDD`
    with `(17)` before it or with day 00, and `EXP` or `USE BY` in front. A year of two digits is
    placed by the GS1 sliding window around `today`.

    Raises `PrintedDateError` when it reads as no date (`31/02/27`) or as more than one
    (`05/06/2027` is either 5 June or 6 May, `270531` 27 May 2031 or 31 May 2027), or as one more
    than `WINDOW_YEARS` years from today.
    """
    text = _MARK.sub("", " ".join(printed.upper().split()))
    if re.fullmatch(r"[0-9]{6}", text) and ("(17)" in printed or text.endswith("00")):
        return gs1_last_good_day(text, today=today)
    if re.fullmatch(r"[0-9]{8}", text):
        text = f"{text[:4]}-{text[4:6]}-{text[6:]}"
    if len(text) > 30 or not _WHOLE.fullmatch(text):
        raise _unreadable(printed)
    parts, orders, doubts = _parts(text)
    readings = _days(orders, parts, today)
    likely = {day for day in readings | _days(doubts, parts, today) if _is_likely(day, today)}
    if not readings or (likely and not likely & readings):
        raise _unreadable(printed)
    if len(offered := likely or readings) > 1:
        raise _ambiguous(printed, tuple(sorted(offered)))
    return _near(printed, offered.pop(), today)


def _ambiguous(printed: str, days: tuple[date, ...]) -> PrintedDateError:
    choices = [say("%(typed)s for %(day)s", typed=day.isoformat(), day=day) for day in days]
    choice = reduce(lambda one, other: say("%(one)s or %(other)s", one=one, other=other), choices)
    return PrintedDateError(
        printed,
        say(
            "“%(printed)s” can be read in more than one way. Enter %(choice)s.",
            printed=printed,
            choice=choice,
        ),
        days,
    )


def gs1_last_good_day(yymmdd: str, *, today: date) -> date:
    """Return the last good day of a GS1 date, the six digits after `(17)`.

    Day 00 is the month's last day. The century is the sliding window's: GS1 General
    Specifications, section 7.12 (a year 51 or more above today's belongs to the last century, one
    50 or more below to the next); day 00 as its definition of AI (17) has it.

    Raises `PrintedDateError` when it is not six digits or no such day exists.
    """
    if not re.fullmatch(r"[0-9]{6}", yymmdd):
        raise PrintedDateError(
            yymmdd,
            say(
                "“%(printed)s” is not a GS1 date. A GS1 date has six digits: year, month, day.",
                printed=yymmdd,
            ),
        )
    year, month, day = (int(pair) for pair in re.findall("..", yymmdd))
    try:
        return _month_end(_year(year, today), month, day or None)
    except ValueError:
        raise PrintedDateError(
            yymmdd,
            say(
                "“%(printed)s”, read as year, month and day, is not a valid date. Enter the "
                "date as 31.05.2027, or as 05/2027 if only a month and a year are printed.",
                printed=yymmdd,
            ),
        ) from None


def _parts(text: str) -> tuple[list[str], tuple[str, ...], tuple[str, ...]]:
    """The parts of a date, the orders in which they may stand, and those that are only doubts."""
    if re.fullmatch(r"[0-9]{4}|[0-9]{6}", text):
        parts, order = re.findall("..", text), _IN_A_ROW[len(text)]
        doubts = _DOUBTS["N" * len(parts)]
        return parts, (order,), doubts if order == "my" else ("mdy", *doubts)
    parts = _PART.findall(text)
    shape = "".join(_shape(part) for part in parts)
    return parts, _READINGS.get(shape, ()), _DOUBTS.get(shape, ())


def _days(orders: Iterable[str], parts: list[str], today: date) -> set[date]:
    return {day for order in orders if (day := _reading(order, parts, today)) is not None}


def _is_likely(day: date, today: date) -> bool:
    """Whether a pack in somebody's hands can have this date: not one long ago."""
    return today.year - OLDEST_YEARS <= day.year <= today.year + WINDOW_YEARS


def _shape(part: str) -> str:
    if part.isalpha():
        return "A" if part in _MONTHS else "?"
    return {1: "N", 2: "N", 4: "Y"}.get(len(part), "?")


def _reading(order: str, parts: list[str], today: date) -> date | None:
    """The last good day if `parts` are in `order`, or None if that is no day."""
    value = {
        letter: _MONTHS.get(part) or int(part) for letter, part in zip(order, parts, strict=True)
    }
    year_part = parts[order.index("y")]
    if len(year_part) == 1:
        return None
    year = _year(value["y"], today) if len(year_part) == 2 else value["y"]
    try:
        return _month_end(year, value["m"], value.get("d"))
    except ValueError:
        return None


def _year(two_digits: int, today: date) -> int:
    """The full year of two digits, by the GS1 sliding window."""
    century, current = divmod(today.year, 100)
    if (ahead := two_digits - current) >= 51:
        century -= 1
    elif ahead <= -50:
        century += 1
    return century * 100 + two_digits


def _month_end(year: int, month: int, day: int | None) -> date:
    """That day, or the month's last where no day is printed. Raises ValueError if there is none."""
    return date(year, month, 1).replace(
        day=calendar.monthrange(year, month)[1] if day is None else day
    )


def _near(printed: str, day: date, today: date) -> date:
    if abs(day.year - today.year) > WINDOW_YEARS:
        raise PrintedDateError(
            printed,
            say(
                "“%(printed)s” is in the year %(year)s. Check the year on the pack again.",
                printed=printed,
                year=day.year,
            ),
        )
    return day


def _unreadable(printed: str) -> PrintedDateError:
    visible = printed if len(printed) <= 30 else printed[:29] + "…"
    return PrintedDateError(
        printed,
        say(
            "“%(printed)s” cannot be read as a date. Look at the pack again, and enter it as "
            "31.05.2027, or as 05/2027 if only a month and a year are printed.",
            printed=visible,
        ),
    )


def good_through(batch: Batch) -> date | None:
    """Return the last day units of `batch` are good: the sooner of the printed date and, once
    opened, the opening day plus its thing's opened life in days. None means no limit is known;
    ask `date_known` whether that is because none is needed.
    """
    days = (batch.expiry, _opened_through(batch))
    return min((day for day in days if day is not None), default=None)


def _opened_through(batch: Batch) -> date | None:
    life = batch.thing.opened_life_days
    if batch.opened_on is None or life is None or life > (date.max - batch.opened_on).days:
        return None
    return batch.opened_on + timedelta(days=life)


def date_known(batch: Batch) -> bool:
    """Return whether the printed date is known, or none is needed."""
    return batch.expiry is not None or not batch.thing.needs_date


def must_be_dated(batch: Batch) -> bool:
    """Return whether units without a known date never count: sterile things and medicines. Other
    things whose date is not known count, with a note to look."""
    return batch.thing.sterile or batch.thing.kind is Kind.MEDICINE


def undated_grace_until(entered_on: date) -> date:
    """Return the last day on which sterile units without a known date may stay in a kit whose
    contents were entered on a day: dates rubbed off are met at set-up, many at a time."""
    return entered_on + timedelta(days=1)


def _limits(batch: Batch) -> Iterator[tuple[ReasonCode, date | None]]:
    """Each fault that units have or come to have, gravest first, with the last day on which they
    do not have it; None where they have it now."""
    if batch.recalled:
        yield ReasonCode.RECALLED, None
    if batch.withheld:
        yield ReasonCode.WITHHELD, None
    if batch.check_passed is False:
        yield ReasonCode.CHECK_FAILED, None
    grace = batch.undated_until
    if grace is None and must_be_dated(batch) and not date_known(batch):
        yield ReasonCode.DATE_NOT_KNOWN, None
    if batch.expiry is not None:
        yield ReasonCode.EXPIRED, batch.expiry
    if (opened := _opened_through(batch)) is not None:
        yield ReasonCode.OPENED_TOO_LONG, opened
    if grace is not None:
        yield ReasonCode.DATE_NOT_KNOWN, grace
    if batch.check_passed is None and batch.thing.kind is Kind.INSTRUMENT:
        yield ReasonCode.CHECK_NOT_ANSWERED, None
    if batch.check_due is not None:
        yield ReasonCode.CHECK_DUE, batch.check_due


_CHECKS = (ReasonCode.CHECK_FAILED, ReasonCode.CHECK_NOT_ANSWERED, ReasonCode.CHECK_DUE)


def _faults(batch: Batch, day: date) -> Iterator[ReasonCode]:
    return (fault for fault, last in _limits(batch) if last is None or last < day)


def why_not(batch: Batch, day: date) -> ReasonCode | None:
    """Return why units of `batch` are not usable through `day`, gravest first; None if they are.

    Beside the dates an instrument's last check must have been answered and passed, and the next
    not be due before `day` (due on the day itself will do). An instrument that passed and has no
    next due date has no limit from its checks.
    """
    return next(_faults(batch, day), None)


def check_fault(batch: Batch, day: date) -> ReasonCode | None:
    """Return why an instrument wants a check before it counts through `day`: the last one failed,
    none was ever answered, or the next is due before `day`; None where it wants none."""
    return next((fault for fault in _faults(batch, day) if fault in _CHECKS), None)


def usable_through(batch: Batch, day: date) -> bool:
    """Return whether units of `batch` count through `day`: see `why_not`. Once false for a day,
    it is false for every later one."""
    return why_not(batch, day) is None


def usable_until(batch: Batch) -> date | None:
    """Return the last day through which units of `batch` are usable: `date.max` where nothing
    limits them, None where they are usable on no day."""
    return soonest(last for _, last in _limits(batch))


def soonest(days: Iterable[date | None]) -> date | None:
    """Return the soonest of `days`, or None if one of them is; `date.max` of none."""
    return min(days, key=lambda day: day or date.min, default=date.max)


def may_be_put_in(
    batch: Batch,
    today: date,
    *,
    list_signed: bool = True,
    training_stock: bool = False,
    training_kit: bool = False,
) -> ReasonCode | None:
    """Return why units of `batch` may not be put into a kit today, or None if they may.

    The same faults keep a kit from being cleared to go while such units are inside. An instrument
    may be put in before its check is answered or when it is due: it is checked in the kit, and
    until then does not count. `list_signed` says whether the kit list that asks for the thing is
    signed today, which only a medicine needs. `training_stock` says whether the units were set
    aside for training and the kit is not a training kit; into a training kit (`training_kit`) goes
    what is out of date too, but no such medicine.
    """
    checked_inside = (ReasonCode.CHECK_NOT_ANSWERED, ReasonCode.CHECK_DUE)
    fault = next((x for x in _faults(batch, today) if x not in checked_inside), None)
    if training_kit and fault in OUT_OF_DATE and batch.thing.kind is not Kind.MEDICINE:
        fault = None
    cases = (
        (fault in (ReasonCode.RECALLED, ReasonCode.WITHHELD), fault),
        (training_stock, ReasonCode.TRAINING_STOCK),
        (batch.thing.kind is Kind.MEDICINE and not list_signed, ReasonCode.UNSIGNED_MEDICINE),
    )
    return next((why for applies, why in cases if applies), fault)
