"""Whoever folds the events knows what the program knows, after any acts in any order."""

from contextlib import ExitStack
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, settings, strategies as st
from hypothesis.stateful import invariant, rule, run_state_machine_as_test

from gearroom.core import clock
from kits.models import Reservation, Trip
from kits.services.announcing import announce
from kits.services.kits import kits
from kits.services.trips import reservations, trips
from kits.services.trips.trip_facts import TripFacts
from tests.kits import factories
from tests.kits.events.reader import Reader
from tests.kits.factories import act
from tests.kits.ledger.book_acts import BookActs, any_index

pytestmark = pytest.mark.django_db

few_days = st.integers(0, 3)


class EventActs(BookActs):
    """Acts in any order, with trips that come and go and time that passes; what is announced now
    and then."""

    def __init__(self) -> None:
        super().__init__()
        self.reader = Reader()
        self.time = ExitStack()
        announce()
        self.reader.read()

    def teardown(self) -> None:
        try:
            announce()
            self.reader.read()
            self.reader.check_words(clock.now())
            assert announce() == 0
        finally:
            self.time.close()
            super().teardown()

    @rule(first=few_days, days=few_days, number=st.integers(1, 3), cancelled=st.booleans())
    def put_a_trip(self, first: int, days: int, number: int, cancelled: bool) -> None:
        departs = clock.now() + timedelta(days=first, hours=1)
        facts = TripFacts(
            name="Walk",
            room=self.world.store,
            departs_at=departs,
            returns_at=departs + timedelta(days=days, hours=6),
            people=8,
            cancelled=cancelled,
        )
        self.does(lambda: trips.put(act(), "bookings", f"B-{number}", facts))

    @rule(kit=any_index, number=st.integers(1, 3), by_guide=st.booleans())
    def reserve(self, kit: int, number: int, by_guide: bool) -> None:
        trip = Trip.objects.filter(reference=f"B-{number}").first()
        if trip is not None:
            who = self.world.guide if by_guide else None
            self.does(lambda: reservations.reserve(act(), self.kit(kit), trip, person=who))

    @rule(index=any_index)
    def release(self, index: int) -> None:
        rows = list(Reservation.objects.promised())
        if rows:
            self.does(lambda: reservations.release(act(), rows[index % len(rows)]))

    @rule(kit=any_index, to_hut=st.booleans())
    def move_home(self, kit: int, to_hut: bool) -> None:
        room = self.world.hut if to_hut else self.world.store
        self.does(lambda: kits.move_home(act(), self.kit(kit), room))

    @rule(hours=st.sampled_from([1, 9, 30]))
    def time_passes(self, hours: int) -> None:
        self.time.enter_context(clock.pretending(clock.now() + timedelta(hours=hours)))

    @rule()
    def announce_what_changed(self) -> None:
        announce()
        self.reader.read()
        self.reader.check_words(clock.now())

    @invariant()
    def who_reads_knows_what_is_so(self) -> None:
        self.reader.read()
        self.reader.check()


def _run(examples: int, steps: int) -> None:
    EventActs.world = factories.world()
    run_state_machine_as_test(
        EventActs,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_whoever_folds_the_events_knows_what_is_so() -> None:
    _run(examples=5, steps=16)


@pytest.mark.long
def test_whoever_folds_many_more_events_knows_what_is_so() -> None:
    _run(examples=60, steps=40)
