"""Calendars at an address are read again and again, and what fails changes nothing."""

import ssl
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.acts import Invalid, Refused
from gearroom.core.rules.public_addresses import allowed_inside
from kits.models import Notice, Trip, TripCalendar
from kits.services.calendars import calendars, reading, versions
from kits.services.calendars.calendars import CalendarFacts
from tests.https_server import HttpsServer, answer, certificate
from tests.kits import factories as make
from tests.kits.calendars.ics import ics
from tests.kits.calendars.test_versions import hill

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def server(
    session_folder: Path, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> Iterator[HttpsServer]:
    """A server that calendars may be read from."""
    authority, pem = certificate(session_folder)
    monkeypatch.setenv("SSL_CERT_FILE", str(authority))
    server = HttpsServer(pem)
    settings.INTERNAL_HOSTS = allowed_inside([f"localhost:{server.port}"])
    yield server
    server.close()


@pytest.fixture
def calendar(w: make.World, server: HttpsServer) -> TripCalendar:
    address = f"webcal://localhost:{server.port}/secret-a1b2.ics"
    made = calendars.add(make.act(w.keeper), CalendarFacts("Trips", w.store, 8, address=address))
    versions.take(make.act(w.keeper), made, ics(hill("a")))
    made.refresh_from_db()
    return made


def age(calendar: TripCalendar, hours: float) -> None:
    at = clock.now() - timedelta(hours=hours)
    TripCalendar.objects.filter(pk=calendar.pk).update(checked_at=at)


def test_its_address_is_kept_encrypted(calendar: TripCalendar) -> None:
    assert "secret-a1b2" not in calendar.address
    assert calendars.address_of(calendar).endswith("/secret-a1b2.ics")


def test_it_is_read_every_quarter_of_an_hour_and_only_if_it_is_another(
    calendar: TripCalendar, server: HttpsServer
) -> None:
    server.replies = [answer(content=ics(hill("a"), hill("b")), ETag='"1"')]
    reading.read_due()  # it was read a moment ago
    assert not server.requests
    age(calendar, 1)
    reading.read_due()
    assert Trip.objects.count() == 2
    server.replies = [answer("304 Not Modified")]
    age(calendar, 1)
    reading.read_due()
    assert b'if-none-match: "1"' in server.requests[-1].lower()
    calendar.refresh_from_db()
    assert calendar.failing_since is None
    assert clock.now() - calendar.checked_at < timedelta(minutes=1)  # type: ignore[operator]  # it was


def test_what_was_refused_is_tried_again_though_the_calendar_is_the_same(
    w: make.World, calendar: TripCalendar, server: HttpsServer
) -> None:
    other = calendars.add(make.act(w.keeper), CalendarFacts("Other", w.store, 8))
    versions.take(make.act(w.keeper), other, ics(hill("b"), hill("c")))
    both = answer(content=ics(hill("a"), hill("b")), ETag='"1"')

    def unless_known(connection: ssl.SSLSocket) -> None:
        known = b'if-none-match: "1"' in server.requests[-1].lower()
        (answer("304 Not Modified") if known else both)(connection)

    server.replies = [unless_known]
    age(calendar, 1)
    reading.read_due()
    assert not Trip.objects.filter(source=calendar.source, reference="b")
    versions.take(make.act(w.keeper), other, ics(hill("c")))
    age(calendar, 1)
    reading.read_due()
    assert Trip.objects.filter(source=calendar.source, reference="b")
    age(calendar, 1)
    reading.read_due()
    assert b'if-none-match: "1"' in server.requests[-1].lower()


@pytest.mark.parametrize(
    ("content", "code"), [(b"<html>Log in</html>", "unreadable"), (ics(), "calendar-empty")]
)
def test_what_is_no_calendar_any_more_changes_nothing_and_is_said_once(
    w: make.World, calendar: TripCalendar, server: HttpsServer, content: bytes, code: str
) -> None:
    server.replies = [answer(content=content)]
    for _time in range(2):
        age(calendar, 1)
        reading.read_due()
    calendar.refresh_from_db()
    assert calendar.failure == code
    assert not calendar.events.filter(gone_at__isnull=False)
    assert Notice.objects.filter(kind="calendar-failing", person=w.keeper).count() == 1


def test_a_server_that_is_away_is_said_only_after_some_time(
    w: make.World, calendar: TripCalendar, server: HttpsServer
) -> None:
    server.replies = [answer("503 Service Unavailable")]
    notices = Notice.objects.filter(kind="calendar-failing", person=w.keeper)
    age(calendar, 1)
    reading.read_due()
    calendar.refresh_from_db()
    assert (calendar.failure, notices.count()) == ("status-503", 0)
    since = clock.now() - timedelta(hours=3)
    TripCalendar.objects.update(failing_since=since)
    for _time in range(2):
        age(calendar, 1)
        reading.read_due()
    assert notices.count() == 1
    server.replies = [answer(content=ics(hill("a")))]
    reading.check(make.act(w.keeper), TripCalendar.objects.get())
    assert TripCalendar.objects.get().failing_since is None


def test_nothing_is_read_of_one_that_was_stopped_or_never_taken_on(
    w: make.World, calendar: TripCalendar, server: HttpsServer
) -> None:
    calendars.stop(make.act(w.keeper), calendar)
    other = CalendarFacts("Other", w.store, 8, address=f"https://localhost:{server.port}/b.ics")
    calendars.add(make.act(w.keeper), other)
    age(calendar, 1)
    reading.read_due()
    assert not server.requests
    with pytest.raises(Refused, match="import its trips"):
        reading.check(make.act(w.keeper), TripCalendar.objects.get(name="Other"))


def test_an_address_inside_the_network_is_refused(w: make.World) -> None:
    inside = CalendarFacts("Inside", w.store, 8, address="https://127.0.0.1/a.ics")
    with pytest.raises(Invalid, match="internal network"):
        calendars.add(make.act(w.keeper), inside)
