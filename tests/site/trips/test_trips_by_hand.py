"""Trips that are added, changed and cancelled by hand."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from kits.models import Trip
from kits.rules.text.hazards import HAZARDS
from kits.services.text import wording
from kits.services.trips import reservations, trips
from kits.services.trips.trip_facts import TripFacts
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


def said(world: make.World, **more: str) -> dict[Any, Any]:
    day = make.days(5).isoformat()
    return {
        "name": "Ridge walk",
        "departs_at": f"{day}T08:30",
        "returns_at": f"{day}T17:00",
        "people": "9",
        "room": world.store.slug,
        "hazard": ["hill"],
        "leader": str(world.guide.pk),
        **more,
    }


def test_a_trip_is_added_by_hand_in_the_rooms_own_time(world: make.World) -> None:
    world.store.time_zone = "Europe/Helsinki"
    world.store.save()
    client = browser(world.keeper)

    answer = post(client, "/trips/add/", **said(world, children="1"))

    trip = Trip.objects.get()
    assert answer["Location"] == f"/trips/{trip.pk}/"
    assert trip.departs_at.hour in (5, 6)  # half past eight there
    assert (trip.first_day, trip.last_day) == (make.days(5), make.days(5))
    assert (trip.source, trip.leader, trip.children) == ("by-hand", world.guide, True)
    assert trip.hazards == ["hill"]
    form = client.get(f"/trips/{trip.pk}/edit/").content.decode()
    assert f'value="{make.days(5)}T08:30"' in form


@pytest.mark.parametrize(
    ("wrong", "status", "says"),
    [
        ({"departs_at": "tomorrow"}, 400, "Departs: enter a date and a time"),
        ({"returns_at": "2020-01-01T08:00"}, 422, "returns before it departs"),
        ({"people": "0"}, 400, "People: “0” is not valid"),
        ({"name": " "}, 400, "Enter a name for the trip"),
        ({"hazard": "dragons"}, 400, "is not a known hazard"),
        ({"room": "nowhere"}, 404, "There is no room nowhere"),
    ],
)
def test_what_cannot_be_is_said_and_the_rest_is_kept(
    world: make.World, wrong: dict[str, str], status: int, says: str
) -> None:
    answer = post(browser(world.keeper), "/trips/add/", **said(world, people="17") | wrong)

    assert answer.status_code == status
    assert says in text_of(answer)
    if "people" not in wrong:
        assert 'value="17"' in answer.content.decode()
    assert not Trip.objects.exists()


def test_a_trip_added_by_hand_is_changed_cancelled_and_takes_place_after_all(
    world: make.World,
) -> None:
    client = browser(world.keeper)
    post(client, "/trips/add/", **said(world))
    trip = Trip.objects.get()
    path = f"/trips/{trip.pk}/edit/"

    post(client, path, **said(world, people="12", revision="1"))
    trip.refresh_from_db()
    assert trip.people == 12
    post(client, path, **said(world, people="12", revision="2", cancel="1"))
    trip.refresh_from_db()
    assert trip.cancelled_at is not None
    assert "Cancelled" in text_of(client.get(f"/trips/{trip.pk}/"))
    post(client, path, **said(world, people="12", revision="3"))

    trip.refresh_from_db()
    assert trip.cancelled_at is None


def test_a_cancelled_trip_says_which_kits_are_free_again(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 1, 1)
    reservations.reserve(make.act(), world.day_01, trip)
    reservations.release(
        make.act(), reservations.reserve(make.act(), world.day_02, trip).reservation
    )
    facts = TripFacts(
        trip.name, trip.departs_at, trip.returns_at, 8, room=world.store, cancelled=True
    )
    trips.put(make.act(), trip.source, trip.reference, facts)

    page = text_of(browser(world.guide).get(f"/trips/{trip.pk}/"))

    assert "This trip was cancelled and needs no kits. Available again: DAY-01." in page


def test_of_two_people_at_one_trip_the_second_is_told(world: make.World) -> None:
    client = browser(world.keeper)
    post(client, "/trips/add/", **said(world))
    path = f"/trips/{Trip.objects.get().pk}/edit/"
    post(client, path, **said(world, people="12", revision="1"))

    answer = post(browser(world.instructor), path, **said(world, people="3", revision="1"))

    assert answer.status_code == 412
    assert "Somebody has changed Ridge walk since you opened it" in text_of(answer)
    assert Trip.objects.get().people == 12


def test_a_trip_of_the_booking_system_is_changed_there(world: make.World) -> None:
    facts = TripFacts("Booked walk", *_times(), people=4, room=world.store)
    trip = trips.put(make.act(), "bookings", "B-7", facts).trip
    client = browser(world.keeper)

    assert "bookings, B-7" in text_of(client.get(f"/trips/{trip.pk}/"))
    answer = client.get(f"/trips/{trip.pk}/edit/")
    sent = post(client, f"/trips/{trip.pk}/edit/", **said(world))
    for page in (answer, sent):
        assert page.status_code == 400
        assert "Booked walk comes from “bookings”. Change it there" in text_of(page)
        assert f'<a class="button" href="/trips/{trip.pk}/">' in page.content.decode()
    trip.refresh_from_db()
    assert (trip.name, trip.people) == ("Booked walk", 4)


def _times() -> tuple[datetime, datetime]:
    start = make.act().received_at + timedelta(days=1)
    return start, start + timedelta(hours=8)


def test_every_hazard_has_its_words() -> None:
    assert tuple(wording.HAZARDS) == HAZARDS
    assert wording.hazards(["rope", "cave"]) == ["caves and mines", "rope work"]
