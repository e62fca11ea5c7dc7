"""A booking system beside the program: both are killed again and again, and their books agree."""

import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests import keeper
from tests.bookings import agreement
from tests.bookings.agreement import Records
from tests.bookings.calls import Gearroom
from tests.bookings.office import Office, Settings
from tests.bookings.processes import BookingSystem, kill_part
from tests.bookings.school import Hatch, School, make_school
from tests.https_server import certificate
from tests.program import PROJECT, Server
from tests.waiting import until

pytestmark = pytest.mark.server

TRIPS, ACTS = 300, 70
COMPARED = (
    agreement.trips,
    agreement.reservations,
    agreement.events,
    agreement.announced,
    agreement.polled,
)
LAST = "where number = (select max(number) from event where type like '{}')"
FAULTS = {
    "update trip set wanted = json_set(wanted, '$.people', 99) where reference = 'B-0007'": "trips",
    "update trip set wanted = json_set(wanted, '$.state', '') where reference = 'B-0008'": "trips",
    "update trip set revision = revision + 1 where reference = 'B-0009'": "trips",
    "delete from trip where reference = 'B-0010'": "trips",
    "update reservation set stands = 1 - stands where number = 1": "reservations",
    "delete from reservation where number = 2": "reservations",
    "delete from event where number = (select min(number) from event)": "polled",
    "delete from event " + LAST.format("trip.updated"): "events",
    "delete from event " + LAST.format("kit.checked_%"): "events",
    "update event set content = json_set(content, '$.data.word', '') "
    + LAST.format("kit.readiness_changed"): "announced",
    "update event set number = -number " + LAST.format("kit.checked_in"): "polled",
    "update event set content = json_set(content, '$.data.kit', 0) "
    + LAST.format("reservation.made"): "events",
    "delete from polled where number = (select max(number) from polled)": "polled",
}
"""What a change, an answer or an event that got lost, or came late or otherwise, would leave in the
booking system's book; and which comparison has to find it."""


@pytest.fixture
def school(open_database: str) -> School:
    return make_school()


@pytest.fixture
def start_both(
    session_folder: Path, tmp_path: Path, make_server: Callable[..., Server], school: School
) -> Iterator[Callable[[int], tuple[Server, BookingSystem]]]:
    """start_both(seed): the program, and a booking system that it may send events to."""
    made = []
    authority, pem = certificate(session_folder)

    def start(seed: int) -> tuple[Server, BookingSystem]:
        port = keeper.free_port()
        server = make_server(
            GEARROOM_INTERNAL_HOSTS=f"localhost:{port}", SSL_CERT_FILE=str(authority)
        ).start()
        folder = tmp_path / "bookings"
        folder.mkdir()
        begins = datetime.now(UTC).replace(microsecond=0) + timedelta(minutes=1)
        settings = Settings(
            server.url, school.booking, seed, TRIPS, ACTS, begins.isoformat(), port, str(pem)
        )
        made.append(BookingSystem(session_folder, folder, settings))
        made[-1].start()
        return server, made[-1]

    yield start
    for booking in made:
        booking.kill()


def go_through_the_season(
    server: Server, booking: BookingSystem, school: School, *, kills: int, seed: int
) -> None:
    """Kill the booking system, the web server or the worker every so many of its requests, while
    people work at the hatch; they come again until all is done."""
    chance = random.Random(seed)
    order = ["booking", "gunicorn", "celery"] * (kills // 3)
    chance.shuffle(order)
    hatch = Hatch(server.url, school, seed, booking.answered)
    hatch.start()
    for number, part in enumerate(order):
        due = (number + chance.random()) / kills * len(booking.settings.steps)
        until(partial(booking.is_past, due), f"request {due:.0f}")
        if part == "booking":
            booking.kill()
            booking.start()
        else:
            kill_part(server, part)
    until(booking.is_done, "the season is over", within=300)
    hatch.close()
    assert min(hatch.done["check-out", 201], hatch.done["check-in", 200]) > 5, hatch.done


def test_the_booking_system_has_nothing_of_the_program() -> None:
    loaded = subprocess.run(
        [sys.executable, "-c", "import sys, tests.bookings.office; print(*sys.modules)"],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert {name.split(".")[0] for name in loaded} & {
        "django",
        "gearroom",
        "kits",
        "labels",
    } == set()


def stop_when_all_events_came(booking: BookingSystem, school: School) -> Records:
    """What the program says at a moment when the booking system has every event until then, and
    nothing is left to be announced: what follows from acts together is, half a minute later."""
    while True:
        Office(booking.settings, booking.book).poll()
        until(lambda: not booking.book.missing(), "all events came", within=300)
        booking.kill()
        there = agreement.records(Gearroom(booking.settings.url, school.hatch))
        Office(booking.settings, booking.book).poll()
        missing, differ = booking.book.missing(), agreement.announced(booking.book, there)
        if not missing and not differ:
            return there
        had = booking.book.one("select count(*) from event")
        booking.start()
        until(partial(has_more_events, booking, had), f"something is announced of {differ}")


def has_more_events(booking: BookingSystem, than: int) -> bool:
    return bool(booking.book.one("select count(*) from event") > than)


def differences(booking: BookingSystem, there: Records) -> dict[str, Any]:
    every = {compare.__name__: compare(booking.book, there) for compare in COMPARED}
    return {name: differ for name, differ in every.items() if differ}


def assert_both_books_agree(booking: BookingSystem, server: Server, school: School) -> Records:
    there = stop_when_all_events_came(booking, school)
    book = booking.book
    assert differences(booking, there) == {}
    assert len(there.trips) == TRIPS
    assert book.rows("select path, answer from letter where status >= 400") == []
    assert book.rows("select id from refusal where id not in (select id from event)") == []
    assert book.one("select count(distinct secret) from event") > 1
    assert book.one("select count(*) from event where times > 1") > 1
    assert server.manage("audit").returncode == 0
    return there


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_killed_at_three_random_moments_over_three_hundred_trips_both_books_agree(
    school: School, start_both: Callable[[int], tuple[Server, BookingSystem]]
) -> None:
    server, booking = start_both(1)

    go_through_the_season(server, booking, school, kills=3, seed=1)

    there = assert_both_books_agree(booking, server, school)
    for fault, finds in FAULTS.items():
        booking.book.write("begin")
        assert booking.book.write(fault) == 1, fault
        differ = differences(booking, there)
        booking.book.write("rollback")
        assert finds in differ, fault


@pytest.mark.long
def test_killed_at_thirty_random_moments_both_books_agree(
    school: School, start_both: Callable[[int], tuple[Server, BookingSystem]]
) -> None:
    server, booking = start_both(2)

    go_through_the_season(server, booking, school, kills=30, seed=2)

    assert_both_books_agree(booking, server, school)
