"""The lines of a calendar file (iCalendar, RFC 5545) that say something of trips, and no others.

A file may come from anybody, and may be made to take hours to read: components in one another,
rules without end, thousands of properties or of values. So it is gone through once, line by line,
and only so much is left of it as an event has.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import lru_cache

from icalendar.timezone import tzp

LONGEST = 5_000
"""Characters of a line; of a longer text only so many."""

_FOLD = re.compile(r"\r?\n[ \t]")
_LINE = re.compile(r'(?P<name>[A-Za-z-]+)(?P<parameters>(?:;(?:[^":]|"[^"]*")*)?):(?P<value>.*)')
_PARAMETER = re.compile(r';(TZID|VALUE)="?([^";]*)', re.IGNORECASE)
_NOT_TEXT = re.compile("[\x00-\x08\x0a-\x1f\x7f\x85\u2028\u2029]")

_EVENT = ["VCALENDAR", "VEVENT"]
"""The components around a line of an event. What an event has in it (alarms), and all else that a
calendar has (time zones), is left out: zones are known by their names."""
_TEXTS = {
    "METHOD": 1,
    "UID": 1,
    "SUMMARY": 1,
    "SEQUENCE": 1,
    "STATUS": 1,
    "LOCATION": 1,
    "DESCRIPTION": 1,
    "CATEGORIES": 5,
}
"""Properties that are texts, and how many of each are read."""
_TIMES = ("DTSTART", "DTEND", "DURATION")
_MOST_TIMES = 2
"""An event has one of each; of one with two it cannot be known which is right."""
_REPEATING = {
    "RRULE": "FREQ=DAILY",
    "RDATE": "20000101T000000Z",
    "RECURRENCE-ID": "20000101T000000Z",
}
"""What says that an event repeats; how, is of no matter."""
_LONGEST_UID, _LONGEST_TIME = 4_000, 100


class TooManyEventsError(ValueError):
    """There are more events than are read at once."""


def event_lines(content: bytes, *, most_events: int) -> list[str]:
    """The lines that matter, unfolded. Raises TooManyEventsError, and ValueError where it is no
    calendar, or only a part of one, or has a UID that is longer than any is."""
    text = _FOLD.sub("", content.decode("utf-8-sig", "replace"))
    return list(_chosen(text.split("\n"), most_events))


def _chosen(lines: Iterable[str], most_events: int) -> Iterator[str]:
    within: list[str] = []  # the components that a line is in, from the outermost
    events, known, whole = 0, Counter[str](), False
    for each in lines:
        line = _LINE.fullmatch(_NOT_TEXT.sub(" ", each[: LONGEST + 1]).strip())
        if not within and each.strip() and (line is None or line["name"].upper() != "BEGIN"):
            raise ValueError("something else than a calendar")
        if line is None:
            continue
        name, value = line["name"].upper(), line["value"].strip()
        if name == "BEGIN":
            within.append(value.upper())
            if within == _EVENT:
                events, known = events + 1, Counter()
                if events > most_events:
                    raise TooManyEventsError
        if within[0] != _EVENT[0]:
            raise ValueError("something else than a calendar")
        if len(within) <= len(_EVENT) and within == _EVENT[: len(within)]:
            known[name] += 1
            yield from _chosen_line(name, line["parameters"], value, known[name])
        if name == "END":
            if within.pop() != value.upper():
                raise ValueError("a component ends that did not begin")
            whole = not within
    if not whole:
        raise ValueError("a calendar that is cut off, or none")


def _chosen_line(name: str, parameters: str, value: str, number: int) -> Iterator[str]:
    """A line of a calendar or an event, as far as it is read; `number` of its name there."""
    if name in ("BEGIN", "END"):
        yield f"{name}:{value.upper()}"
    elif name in _REPEATING and number == 1:
        yield f"{name}:{_REPEATING[name]}"
    elif name in _TEXTS and number <= _TEXTS[name]:
        if name == "UID" and len(value) > _LONGEST_UID:
            raise ValueError("a UID that is too long")
        yield f"{name}:{value}"
    elif name in _TIMES and number <= _MOST_TIMES:
        given = {of.upper(): text for of, text in _PARAMETER.findall(parameters)}
        zone = f';TZID="{named}"' if (named := given.get("TZID", "")[:_LONGEST_TIME]) else ""
        if not _can_be_looked_up(named):
            zone, value = "", named  # no time
        form = ";VALUE=DATE" if given.get("VALUE", "").upper() == "DATE" else ""
        yield f"{name}{zone}{form}:{value[:_LONGEST_TIME]}"


@lru_cache(maxsize=200)
def _can_be_looked_up(zone: str) -> bool:
    """False where looking for a zone of this name ends the whole reading: of a folder of zones."""
    try:
        tzp.timezone(zone)
    except OSError:
        return False
    return True
