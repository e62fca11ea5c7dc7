"""A booking system beside the program: both are killed again and again, and their books agree."""

import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest

from tests.bookings import agreement
from tests.bookings.calls import Gearroom
from tests.bookings.office import Settings
from tests.bookings.processes import BookingSystem, kill_part
from tests.bookings.school import Hatch, School, make_school
from tests.program import PROJECT, Server
from tests.waiting import until

pytestmark = pytest.mark.server

TRIPS, ACTS = 300, 100
FAULTS = (
    "update trip set wanted = json_set(wanted, '$.people', 99) where reference = 'B-0007'",
    "update trip set wanted = json_set(wanted, '$.cancelled', 7) where reference = 'B-0008'",
    "update trip set revision = revision + 1 where reference = 'B-0009'",
    "delete from trip where reference = 'B-0010'",
    "update reservation set stands = 1 - stands where number = 1",
    "delete from reservation where number = 2",
)
"""What a change or an answer that got lost would leave in the booking system's book."""


@pytest.fixture
def school(open_database: str) -> School:
    return make_school()


@pytest.fixture
def start_booking(session_folder: Path, tmp_path: Path) -> Iterator[Callable[..., BookingSystem]]:
    made = []

    def start(server: Server, token: str, seed: int) -> BookingSystem:
        folder = tmp_path / "bookings"
        folder.mkdir()
        begins = datetime.now(UTC).replace(microsecond=0) + timedelta(minutes=1)
        settings = Settings(server.url, token, seed, TRIPS, ACTS, begins.isoformat())
        made.append(BookingSystem(session_folder, folder, settings))
        made[-1].start()
        return made[-1]

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
        due = (number + chance.random()) / kills * (TRIPS + ACTS / 2)
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


def assert_both_books_agree(booking: BookingSystem, server: Server, school: School) -> None:
    keeper = Gearroom(server.url, school.hatch)
    assert booking.book.one("select count(*) from trip") == TRIPS
    assert agreement.trips(booking.book, keeper) == {}
    assert agreement.reservations(booking.book, keeper) == {}
    assert booking.book.rows("select path, answer from letter where status >= 400") == []
    assert server.manage("audit").returncode == 0


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_killed_at_three_random_moments_over_three_hundred_trips_both_books_agree(
    school: School, make_server: Callable[..., Server], start_booking: Callable[..., BookingSystem]
) -> None:
    server = make_server().start()
    booking = start_booking(server, school.booking, seed=1)

    go_through_the_season(server, booking, school, kills=3, seed=1)

    assert_both_books_agree(booking, server, school)
    keeper = Gearroom(server.url, school.hatch)
    booking.kill()
    for fault in FAULTS:
        booking.book.write("begin")
        assert booking.book.write(fault) == 1, fault
        seen = agreement.trips(booking.book, keeper), agreement.reservations(booking.book, keeper)
        booking.book.write("rollback")
        assert [len(each) for each in seen] in ([1, 0], [0, 1]), fault


@pytest.mark.long
def test_killed_at_thirty_random_moments_both_books_agree(
    school: School, make_server: Callable[..., Server], start_booking: Callable[..., BookingSystem]
) -> None:
    server = make_server().start()
    booking = start_booking(server, school.booking, seed=2)

    go_through_the_season(server, booking, school, kills=30, seed=2)

    assert_both_books_agree(booking, server, school)
