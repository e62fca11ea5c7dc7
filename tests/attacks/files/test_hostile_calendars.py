"""Calendar files that try to be read for hours, or to break whoever reads them."""

from contextlib import suppress
from time import process_time

import pytest
from hypothesis import given, strategies as st

from gearroom.core.rules.sentences import InvalidValue
from kits.rules.trips.calendars import Event, Unclear, read
from tests.kits.calendars.ics import ics

LARGE = 100_000
TIMES = "DTSTART:20350504T073000Z\nDTEND:20350504T163000Z\n"
WHEN = "UID:a\nSUMMARY:Hill day\n" + TIMES


def whole_calendar(lines: str) -> bytes:
    return f"BEGIN:VCALENDAR\n{lines}END:VCALENDAR\n".encode()


@pytest.mark.parametrize(
    "content",
    [
        whole_calendar("BEGIN:VTIMEZONE\n" * (LARGE // 10)),
        whole_calendar("BEGIN:VTIMEZONE" + "VTIMEZONE" * (LARGE // 10) + "\n"),
        whole_calendar("BEGIN:VEVENT\n" * LARGE + "END:VEVENT\n" * LARGE),
        ics(WHEN + "A:b\n" * LARGE),
        ics(WHEN + "CATEGORIES:a\n" * LARGE),
        ics(WHEN + "CATEGORIES:" + "a," * LARGE),
        ics(WHEN + "EXDATE:" + ",".join(["20350504T073000Z"] * LARGE)),
        ics(WHEN + "RDATE:" + ",".join(["20350504T073000Z"] * LARGE)),
        ics(WHEN + "RRULE:FREQ=DAILY;BYDAY=" + ",".join(["MO"] * LARGE)),
        ics(WHEN.replace("DTSTART:", "DTSTART" + ";A=b" * LARGE + ":")),
        ics(WHEN.replace("DTSTART:", 'DTSTART;A="' + '"' * LARGE + ":")),
        ics(WHEN + "DESCRIPTION:People: x" + " " * LARGE + "y"),
        ics(WHEN + "DESCRIPTION:Ages: 1" + " " * LARGE + "y"),
        ics(WHEN + "DESCRIPTION:Leader: " + "a" * LARGE),
        ics(WHEN + "DESCRIPTION:" + "\\n" * LARGE),
        ics(WHEN + "DESCRIPTION:" + "\n a" * LARGE),
        ics(WHEN.replace("UID:a", "UID:" + "a" * LARGE)),
    ],
    ids=lambda content: content[:100].decode().replace("\n", " "),
)
def test_no_file_takes_long_to_read(content: bytes) -> None:
    start = process_time()
    with suppress(InvalidValue):
        read(content)
    assert process_time() - start < 2


@pytest.mark.parametrize(
    "text",
    [
        TIMES.replace("DTSTART:", "DTSTART;VALUE=TEXT:x"),
        "DTSTART:20350504T073000Z\nDURATION;VALUE=TEXT:abc",
        TIMES.replace("DTSTART:", "DTSTART;TZID=" + "A" * 5000 + ":").replace("000Z", "000"),
        TIMES.replace("DTSTART:", "DTSTART;TZID=Europe:").replace("000Z", "000"),
        TIMES.replace("20350504T073000Z", "00010101T000000"),
        TIMES.replace("20350504T163000Z", "99991231T235959Z"),
    ],
)
def test_an_event_whose_times_are_odd_leaves_the_others_as_they_are(text: str) -> None:
    odd, other = read(ics(f"UID:odd\nSUMMARY:x\n{text}\n", WHEN))
    assert isinstance(odd, Unclear) and isinstance(other, Event)


@pytest.mark.parametrize("sign", ["\x0b", "\x0c", "\r", "\x1c", "\x85", "\u2028", "\0"])
def test_nothing_in_a_text_begins_a_line_of_its_own(sign: str) -> None:
    text = f"DESCRIPTION:x{sign}RRULE:FREQ=SECONDLY{sign}END:VEVENT{sign}STATUS:CANCELLED"
    (one,) = read(ics(WHEN + text))
    assert isinstance(one, Event) and one.state == "confirmed"


_NAMES = ("DTSTART", "DTEND", "DURATION", "CATEGORIES", "SEQUENCE", "DESCRIPTION", "BEGIN", "END",
          "UID", "STATUS", "RDATE", "RECURRENCE-ID", "LOCATION", "METHOD")  # fmt: skip
_PARAMETERS = ("", ";VALUE=TEXT", ";VALUE=DATE", ";VALUE=PERIOD", ";VALUE=BINARY;ENCODING=BASE64",
               ";TZID=Europe/London", ";TZID=..", ';TZID="', ";X", ";VALUE=INTEGER")  # fmt: skip
_VALUES = ("20350504", "20350504T073000", "P1D", "-P99999999W", "1,2;3", "VEVENT", "VALARM",
           "VCALENDAR", "People: 1\\nLeader: a@b.c")  # fmt: skip
_LINES = st.builds(
    "{}{}:{}".format,
    st.sampled_from(_NAMES),
    st.sampled_from(_PARAMETERS),
    st.sampled_from(_VALUES) | st.text(st.characters(codec="utf-8"), max_size=8),
)


@given(st.lists(_LINES, max_size=6))
def test_whatever_an_event_says_it_is_read_or_refused(lines: list[str]) -> None:
    with suppress(InvalidValue):
        read(ics(WHEN + "\n".join(lines)))
