"""Calendars (iCalendar, RFC 5545) that trips come from: what their events say, and what a version
of one changes.

A repeating event is no trip: each would need kits of its own, and somebody who leads it. What
repeats, or cannot be understood, is named with the reason and changes nothing.
"""

import enum
import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from icalendar import Calendar, Component, vBroken

from gearroom.core.rules.plain_text import plain
from gearroom.core.rules.sentences import InvalidValue, Sentence, say
from gearroom.core.rules.years import YEARS
from kits.rules.trips.calendar_lines import TooManyEventsError, event_lines
from kits.rules.trips.trips import TripState

MAX_BYTES = 2 * 1024 * 1024
MOST_EVENTS = 5_000
MOST_LETTERS = 160
"""Of a name; longer ones are cut."""

_STATES = {
    "TENTATIVE": TripState.PLANNED,
    "CONFIRMED": TripState.CONFIRMED,
    "CANCELLED": TripState.CANCELLED,
}
_BROKEN = say("This is not a calendar file (.ics), or only part of one. Nothing has been changed.")


@dataclass(frozen=True)
class Event:
    """An event that may be a trip. `starts` and `ends` are both days (whole, both on the trip), or
    both times, which without a time zone are those of the gear room. `where` is what says where it
    leaves from, `kinds` what it is about (CATEGORIES)."""

    uid: str
    name: str
    starts: date
    ends: date
    sequence: int = 0
    state: TripState = TripState.CONFIRMED
    where: str = ""
    kinds: Sequence[str] = ()
    people: int | None = None
    youngest: int | None = None
    oldest: int | None = None
    hours_to_care: Decimal | None = None
    leader_name: str = ""
    leader_email: str = ""

    @property
    def all_day(self) -> bool:
        """Whether it has days only, no times."""
        return not isinstance(self.starts, datetime)


@dataclass(frozen=True)
class Unclear:
    """An event that cannot be a trip, and why."""

    uid: str
    name: str
    why: Sentence


def reference(uid: str) -> str:
    """The reference of the trip of an event: its UID, or what stands for one that is too long for
    that, or has a slash."""
    if len(uid) <= 80 and uid.isprintable() and "/" not in uid and any(map(str.isalnum, uid)):
        return uid
    return f"uid-{hashlib.sha256(uid.encode()).hexdigest()[:40]}"


# ------------------------------------------------------------------------------ what a file says
def read(content: bytes) -> list[Event | Unclear]:
    """The events of a calendar file, each UID once in its latest version. Raises InvalidValue where
    it is none, is cut off, or holds something else than the events of a calendar."""
    try:
        lines = event_lines(content, most_events=MOST_EVENTS)
        parts = Calendar.from_ical("\r\n".join(lines), multiple=True)
    except TooManyEventsError:
        raise InvalidValue(
            say(
                "This calendar has more than %(most)s events. Export fewer, such as one season.",
                most=MOST_EVENTS,
            )
        ) from None
    except (ValueError, KeyError, IndexError, OverflowError):
        raise InvalidValue(_BROKEN) from None
    if any(str(part.get("METHOD", "PUBLISH")).upper() != "PUBLISH" for part in parts):
        raise InvalidValue(
            say("This is an invitation or an answer to one, not a calendar. Export the calendar.")
        )
    return list(_latest(_event(event) for part in parts for event in part.subcomponents))


def _latest(events: Iterable[Event | Unclear]) -> Iterator[Event | Unclear]:
    """Each UID once. Of several versions of an event the one with the highest number counts, of
    those the last; a UID of which one is unclear is unclear."""
    by_uid: dict[str, Event | Unclear] = {}
    for number, event in enumerate(events):
        key = event.uid or f"\n{number}"  # without a UID each is one
        other = by_uid.get(key)
        if other is None or (
            isinstance(other, Event)
            and (isinstance(event, Unclear) or event.sequence >= other.sequence)
        ):
            by_uid[key] = event
    return iter(by_uid.values())


def _event(component: Component) -> Event | Unclear:
    uid, name = _line(component, "UID"), _line(component, "SUMMARY")[:MOST_LETTERS]
    try:
        return _understood(component, uid, name)
    except InvalidValue as error:
        return Unclear(uid, name, error.says)


def _understood(component: Component, uid: str, name: str) -> Event:
    if not uid:
        raise InvalidValue(say("It has no UID, so it could not be recognised again."))
    if not name:
        raise InvalidValue(say("It has no title."))
    if any(component.get(each) is not None for each in ("RRULE", "RDATE", "RECURRENCE-ID")):
        raise InvalidValue(say("It repeats. Enter each trip as an event of its own."))
    starts, ends = _span(component)
    state = _STATES.get(_line(component, "STATUS").upper() or "CONFIRMED")
    if state is None:
        raise InvalidValue(say("Its status is not one that an event can have."))
    kinds = [_tidy(each) for each in _categories(component)]
    return Event(
        uid=uid,
        name=name,
        starts=starts,
        ends=ends,
        sequence=_sequence(component),
        state=state,
        where="\n".join([_line(component, "LOCATION"), *kinds]),
        kinds=kinds,
        **_from_lines(_text(component, "DESCRIPTION")),
    )


# ------------------------------------------------------------------------------------------- when
def _span(component: Component) -> tuple[date, date]:
    """When an event begins and ends."""
    starts = _moment(component, "DTSTART")
    if starts is None:
        raise InvalidValue(say("It has no start."))
    ends = _moment(component, "DTEND")
    whole_days = not isinstance(starts, datetime)
    try:
        if ends is None and (length := _length(component)) is not None:
            ends = starts + length
        if ends is None and whole_days:
            ends = starts + timedelta(days=1)
        if ends is None:
            raise InvalidValue(say("It has no end, so nobody knows when its kits come back."))
        if isinstance(ends, datetime) == whole_days:
            raise InvalidValue(
                say("It starts with a day and ends with a time, or the other way round.")
            )
        # The end of days is the day after (RFC 5545, 3.6.1).
        return (starts, max(starts, ends - timedelta(days=1))) if whole_days else (starts, ends)
    except OverflowError:
        raise InvalidValue(
            say("Its start, its end or how long it takes cannot be right.")
        ) from None


def _moment(component: Component, name: str) -> date | None:
    """A day, or a time; one of a known time zone is aware of it."""
    if (value := component.get(name)) is None:
        return None
    if isinstance(value, vBroken | list):
        raise InvalidValue(say("Its times cannot be read."))
    moment = value.dt
    if not isinstance(moment, date):
        raise InvalidValue(say("Its times cannot be read."))
    if moment.year not in YEARS:
        raise InvalidValue(say("Its start, its end or how long it takes cannot be right."))
    zone = value.params.get("TZID")
    if isinstance(moment, datetime) and moment.tzinfo is None and zone:
        raise InvalidValue(
            say("Its time zone “%(zone)s” is not known.", zone=_tidy(str(zone))[:60])
        )
    return moment


def _length(component: Component) -> timedelta | None:
    value = component.get("DURATION")
    length = None if value is None or isinstance(value, vBroken | list) else value.dt
    return length if isinstance(length, timedelta) else None


def _sequence(component: Component) -> int:
    """SEQUENCE (RFC 5545, 3.8.7.4), as far as a database counts."""
    value = component.get("SEQUENCE", 0)
    return min(max(int(value), 0), 2**31 - 1) if isinstance(value, int) else 0


# ------------------------------------------------------------------------------------------ texts
def _text(component: Component, name: str) -> str:
    value = component.get(name)
    if isinstance(value, list):
        value = value[0]
    return "" if value is None or isinstance(value, vBroken) else plain(str(value))


def _line(component: Component, name: str) -> str:
    return _tidy(_text(component, name))


def _tidy(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in plain(text)).split())


def _categories(component: Component) -> list[str]:
    values = component.get("CATEGORIES", [])
    rows = values if isinstance(values, list) else [values]
    return [str(each) for row in rows if not isinstance(row, vBroken) for each in row.cats]


_EMAIL = re.compile(r"[^\s@<>(),;]+@[^\s@<>(),;]+\.[^\s@<>(),;]+")
_LINES: Mapping[str, re.Pattern[str]] = {
    name: re.compile(rf"(?im)^[ \t]*(?:{words})[ \t]*:[ \t]*(\S.*)$")
    for name, words in {
        "people": "people|personen",
        "ages": "ages?|alter",
        "hours": "hours to care|stunden bis zum arzt",
        "leader": "leader|leitung",
    }.items()
}
"""What lines of a description begin with that say something of the trip, in the languages of the
pages."""
_MOST_OF_A_LINE = 200
"""Characters: what follows searches a line from each of them."""


def _from_lines(text: str) -> dict[str, Any]:
    """What the lines of a description say of a trip."""
    lines = {name: match for name, line in _LINES.items() if (match := line.search(text))}
    facts: dict[str, Any] = {}
    if line := lines.get("people"):
        facts["people"] = int(_parts(line, r"(\d{1,5})")[1])
    if line := lines.get("ages"):
        ages = _parts(line, r"(\d{1,3})(?:\s*\D{1,5}\s*(\d{1,3}))?")
        facts |= {"youngest": int(ages[1]), "oldest": int(ages[2] or ages[1])}
    if line := lines.get("hours"):
        hours = _parts(line, r"(\d{1,3}(?:[.,]\d)?)")
        facts["hours_to_care"] = Decimal(hours[1].replace(",", "."))
    if line := lines.get("leader"):
        who = _tidy(line[1][:_MOST_OF_A_LINE])
        email = _EMAIL.search(who)
        name = _tidy(_EMAIL.sub("", who)).strip(" ,;<>()")
        facts |= {"leader_email": email[0] if email else "", "leader_name": name[:120]}
    return facts


def _parts(line: re.Match[str], form: str) -> re.Match[str]:
    """The parts of what a line says. Raises InvalidValue where it is not of this form."""
    if (parts := re.fullmatch(form, _tidy(line[1][:_MOST_OF_A_LINE]))) is None:
        raise InvalidValue(
            say(
                "The line “%(line)s” in its description cannot be understood.",
                line=_tidy(line[0][:_MOST_OF_A_LINE])[:80],
            )
        )
    return parts


# ------------------------------------------------------------ what a version changes
class Change(enum.StrEnum):
    """What a version of a calendar does to an event's trip."""

    NEW = "new"
    CHANGED = "changed"
    UNCHANGED = "unchanged"
    OLDER = "older"  # an older version than the one that is known
    LEFT_OUT = "left-out"  # it is over, or cancelled, and was never a trip


@dataclass(frozen=True)
class KnownEvent:
    """What is known of an event that is a trip: the number of its version, a digest of what it
    said, whether the trip is to come (not over, not cancelled), and whether somebody was already
    asked about it since it is no longer in the calendar."""

    sequence: int
    digest: str
    to_come: bool = True
    gone: bool = False


@dataclass(frozen=True)
class ReadEvent:
    """An event as a version of a calendar has it: its version's number, a digest of what it says,
    and whether it would be a trip to come."""

    sequence: int
    digest: str
    to_come: bool = True


@dataclass(frozen=True)
class Difference:
    """What a version of a calendar changes, by reference: of each event, those that are no longer
    in it though their trips are to come, and those that are in it again."""

    changes: Mapping[str, Change] = field(default_factory=dict)
    gone: Sequence[str] = ()
    back: Sequence[str] = ()


def difference(
    known: Mapping[str, KnownEvent], events: Mapping[str, ReadEvent], unclear: Iterable[str] = ()
) -> Difference:
    """What a version of a calendar changes. `unclear` are references of events that are in it, but
    cannot be understood: they stay as they are."""
    there = {*events, *unclear}
    return Difference(
        {name: _change(known.get(name), event) for name, event in events.items()},
        [n for n, each in known.items() if each.to_come and not each.gone and n not in there],
        [name for name, each in known.items() if each.gone and name in there],
    )


def _change(known: KnownEvent | None, event: ReadEvent) -> Change:
    if known is None:
        return Change.NEW if event.to_come else Change.LEFT_OUT
    if event.sequence < known.sequence:
        return Change.OLDER
    return Change.UNCHANGED if event.digest == known.digest else Change.CHANGED
