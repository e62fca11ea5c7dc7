"""What calendars say of trips, and what each version of one changes."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, strategies as st

from gearroom.core.rules.sentences import InvalidValue
from kits.rules.trips.calendars import (
    Change,
    Event,
    KnownEvent,
    ReadEvent,
    Unclear,
    difference,
    read,
    reference,
)
from kits.rules.trips.trips import TripState
from tests.kits.calendars.ics import ics


def event(text: str) -> Event:
    (one,) = read(ics(text))
    assert isinstance(one, Event), one
    return one


def why(text: str) -> str:
    (one,) = read(ics(text))
    assert isinstance(one, Unclear), one
    return str(one.why)


WHEN = "UID:a\nSUMMARY:Hill day\nDTSTART:20350504T073000Z\nDTEND:20350504T163000Z\n"


def test_an_event_says_what_its_trip_is() -> None:
    assert event(
        WHEN + "LOCATION:Cave hut\nCATEGORIES:hill,Water\nCATEGORIES:cave\nSEQUENCE:3\n"
        "STATUS:TENTATIVE\nDESCRIPTION:Bring ropes.\\nPeople: 12\\nAges: 9-11\\n"
        "Hours to care: 2.5\\nLeader: Robin Example <robin@example.org>"
    ) == Event(
        uid="a",
        name="Hill day",
        starts=datetime(2035, 5, 4, 7, 30, tzinfo=UTC),
        ends=datetime(2035, 5, 4, 16, 30, tzinfo=UTC),
        sequence=3,
        state=TripState.PLANNED,
        where="Cave hut\nhill\nWater\ncave",
        kinds=["hill", "Water", "cave"],
        people=12,
        youngest=9,
        oldest=11,
        hours_to_care=Decimal("2.5"),
        leader_name="Robin Example",
        leader_email="robin@example.org",
    )


def test_times_are_those_of_their_zone_or_of_the_gear_room() -> None:
    there = event(
        "UID:a\nSUMMARY:x\nDTSTART;TZID=Europe/London:20350504T083000\nDTEND:20350504T163000Z"
    )
    assert there.starts == datetime(2035, 5, 4, 8, 30, tzinfo=ZoneInfo("Europe/London"))
    here = event("UID:a\nSUMMARY:x\nDTSTART:20350504T083000\nDURATION:PT3H")
    assert (str(here.starts), str(here.ends)) == ("2035-05-04 08:30:00", "2035-05-04 11:30:00")


@pytest.mark.parametrize(
    ("end", "last"),
    [("DTEND;VALUE=DATE:20350507", 6), ("DURATION:P2D", 5), ("", 4), ("DURATION:P0D", 4)],
)
def test_the_end_of_whole_days_is_the_day_after(end: str, last: int) -> None:
    days = event(f"UID:a\nSUMMARY:x\nDTSTART;VALUE=DATE:20350504\n{end}")
    assert (days.all_day, days.starts, days.ends) == (True, date(2035, 5, 4), date(2035, 5, last))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (WHEN + "RRULE:FREQ=WEEKLY", "repeats"),
        (WHEN + "RECURRENCE-ID:20350504T073000Z", "repeats"),
        (WHEN.replace("UID:a\n", ""), "UID"),
        (WHEN.replace("SUMMARY:Hill day\n", ""), "title"),
        (WHEN.replace("DTEND:20350504T163000Z\n", ""), "no end"),
        (WHEN.replace("DTEND:", "DTEND;VALUE=DATE:").replace("T163000Z", ""), "ends with a time"),
        (WHEN.replace("20350504T073000Z", "rubbish"), "cannot be read"),
        (WHEN.replace("DTSTART", "DTSTART;TZID=Nowhere/Land").replace("073000Z", "073000"),
         "Nowhere/Land"),
        (WHEN.replace("DTEND:20350504T163000Z", "DURATION:P9999999D"), "cannot be right"),
        (WHEN + "STATUS:LOST", "status"),
        (WHEN + "DESCRIPTION:People: about ten", "People: about ten"),
        (WHEN + "DESCRIPTION:Ages: young", "Ages: young"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_trip_is_named_with_the_reason(text: str, says: str) -> None:
    assert says in why(text)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"hello",
        b"<html></html>",
        b"\xff\xfe\x00",
        b"BEGIN:VCALENDAR\r\n",
        b"BEGIN:VCARD\r\nEND:VCARD\r\n",
        ics(WHEN)[:-20],
        ics(WHEN)[:-9],
        ics(WHEN, before="METHOD:CANCEL\n"),
    ],
)
def test_what_is_no_whole_calendar_is_refused(content: bytes) -> None:
    with pytest.raises(InvalidValue):
        read(content)


@pytest.mark.parametrize("folded", [False, True])
def test_a_time_zone_that_never_ends_is_not_looked_at(folded: bool) -> None:
    zone = (
        "BEGIN:VTIMEZONE\nTZID:Europe/London\nBEGIN:STANDARD\nDTSTART:19000101T000000\n"
        "TZOFFSETFROM:+0000\nTZOFFSETTO:+0100\nRRULE:FREQ=SECONDLY\nEND:STANDARD\nEND:VTIMEZONE\n"
    )
    if folded:
        zone = zone.replace("BEGIN:VTIMEZONE", "BEGIN:VTIME\n ZONE")
    (one,) = read(ics(WHEN, before=zone))
    assert isinstance(one, Event)


def test_of_several_versions_in_a_file_the_last_of_the_highest_counts() -> None:
    texts = [WHEN.replace("Hill", name) + f"SEQUENCE:{n}" for name, n in
             [("A", 2), ("B", 3), ("C", 1), ("D", 3)]]  # fmt: skip
    (one,) = read(ics(*texts))
    assert one.name == "D day"
    (bad,) = read(ics(*texts, WHEN + "RRULE:FREQ=DAILY", texts[1]))
    assert isinstance(bad, Unclear)


@given(st.text(max_size=200), st.text(max_size=200))
def test_references_fit_and_keep_apart_what_is_apart(one: str, other: str) -> None:
    made = reference(one)
    assert 1 <= len(made) <= 80 and made.isprintable() and "/" not in made
    assert (made == reference(other)) == (one == other) or made.startswith("uid-")


# ------------------------------------------------------------ one version after another
VERSIONS = st.lists(
    st.dictionaries(
        st.sampled_from("abcd"),
        st.builds(ReadEvent, st.integers(0, 2), st.sampled_from("xyz"), st.booleans()),
    ),
    max_size=6,
)


def fold(
    known: Mapping[str, KnownEvent], versions: Sequence[Mapping[str, ReadEvent]]
) -> dict[str, KnownEvent]:
    """What is known after versions were read one after another."""
    now = dict(known)
    for events in versions:
        did = difference(now, events)
        for name, change in did.changes.items():
            if change in (Change.NEW, Change.CHANGED, Change.UNCHANGED):
                now[name] = KnownEvent(
                    events[name].sequence, events[name].digest, events[name].to_come
                )
        for name in did.gone:
            now[name] = KnownEvent(now[name].sequence, now[name].digest, gone=True)
        for name in did.back:
            now[name] = KnownEvent(now[name].sequence, now[name].digest, now[name].to_come)
    return now


@given(VERSIONS)
def test_after_any_versions_each_event_is_as_the_last_of_its_highest_number_says(
    versions: list[dict[str, ReadEvent]],
) -> None:
    for name, known in fold({}, versions).items():
        said = [each[name] for each in versions if name in each]
        since = next(n for n, each in enumerate(said) if each.to_come)  # a trip from then on
        highest = max(each.sequence for each in said[since:])
        last = [each for each in said[since:] if each.sequence == highest][-1]
        assert (known.sequence, known.digest) == (last.sequence, last.digest)
        if versions[-1:] and name in versions[-1]:
            assert not known.gone


@given(VERSIONS.filter(len))
def test_the_same_version_read_again_changes_nothing(
    versions: list[dict[str, ReadEvent]],
) -> None:
    known = fold({}, versions)
    again = difference(known, versions[-1])
    assert not {Change.NEW, Change.CHANGED} & set(again.changes.values())
    assert not again.gone and not again.back


@given(VERSIONS, st.sets(st.sampled_from("abcd")))
def test_only_what_is_not_in_it_at_all_is_gone(
    versions: list[dict[str, ReadEvent]], unclear: set[str]
) -> None:
    known = fold({}, versions)
    did = difference(known, {}, unclear)
    assert set(did.gone) == {
        name for name, each in known.items()
        if each.to_come and not each.gone and name not in unclear
    }  # fmt: skip
