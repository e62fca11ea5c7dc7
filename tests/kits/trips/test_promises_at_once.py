"""Trips and promises written by many at the same moment."""

from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier

import pytest
from django.db import connection
from django.utils import timezone

from gearroom.core.acts import Problem
from kits.models import Reservation, Trip
from kits.services.ledger import audit
from kits.services.trips import reservations, trip_batches, trips
from kits.services.trips.trip_batches import WantedTrip
from kits.services.trips.trip_facts import TripFacts
from tests.kits import factories as make

MANY = 8


def at_once(acts: list[Callable[[], str]]) -> Counter[str]:
    """Do them all at the same moment; says how often each answer or problem came."""
    start = Barrier(len(acts))

    def do(one: Callable[[], str]) -> str:
        try:
            start.wait()
            return one()
        except Problem as problem:
            return problem.code
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return Counter(pool.map(do, acts))


@pytest.mark.usefixtures("open_database")
def test_a_kit_is_promised_to_one_of_many_trips_on_the_same_day() -> None:
    w = make.world()
    wanted = [make.trip(f"Trip {n}", w.store, 1, 2) for n in range(MANY)]
    keeper = make.actor(w.keeper)

    def reserve(trip: Trip) -> Callable[[], str]:
        act = make.Act(actor=keeper)
        return lambda: "done" if reservations.reserve(act, w.day_01, trip).entry else "twice"

    assert at_once([reserve(trip) for trip in wanted]) == {"done": 1, "kit-reserved": MANY - 1}
    assert Reservation.objects.filter(released__isnull=True).count() == 1
    assert not list(audit.findings())


@pytest.mark.usefixtures("open_database")
def test_a_new_trip_put_many_times_at_once_is_made_once() -> None:
    room = make.room()
    actor = make.actor(make.person("Bookings", make.Role.INTEGRATION, room))
    departs = timezone.now() + timedelta(days=3)
    facts = TripFacts("Moor", departs, departs + timedelta(hours=9), 8, room=room)

    def put() -> str:
        return trips.put(make.Act(actor=actor), "bookings", "T-1", facts).outcome

    assert at_once([put] * MANY) == {"created": 1, "unchanged": MANY - 1}
    assert Trip.objects.count() == 1


@pytest.mark.usefixtures("open_database")
def test_batches_with_the_same_trips_in_any_order_are_all_done() -> None:
    w = make.world()
    actor = make.actor(make.person("Bookings", make.Role.INTEGRATION, w.store))
    departs = timezone.now() + timedelta(days=3)
    names = [f"T-{number}" for number in range(6)]

    def wanted(people: int, references: list[str]) -> list[WantedTrip]:
        facts = TripFacts("Moor", departs, departs + timedelta(hours=9), people, room=w.store)
        return [WantedTrip(reference, facts) for reference in references]

    def batch(number: int) -> Callable[[], str]:
        order = names if number % 2 else names[::-1]

        def put() -> str:
            done = trip_batches.put_all(
                make.Act(actor=actor), "bookings", wanted(2 + number, order)
            )
            return "refused" if any(each.problem for each in done) else "done"

        return put

    assert at_once([batch(number) for number in range(4)]) == {"done": 4}  # all trips are new
    assert Trip.objects.count() == 6
    for trip, kit in zip(Trip.objects.order_by("-pk"), (w.day_01, w.day_02), strict=False):
        reservations.reserve(make.act(w.keeper), kit, trip)
    assert at_once([batch(number) for number in range(4, 8)]) == {"done": 4}
    assert len(set(Trip.objects.values_list("people", flat=True))) == 1
    assert not list(audit.findings())
