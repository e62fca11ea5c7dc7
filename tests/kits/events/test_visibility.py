"""Nobody reads in an event what the API does not show them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.models import Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Kit, Trip, Webhook, WithheldKind
from kits.rules.events import EVENT_TYPES
from kits.services.announcing import announce
from kits.services.custody import custody, passing_on
from kits.services.events import events_after
from kits.services.kits import holds, kits
from kits.services.ledger.undo import reversal
from kits.services.recalls import closing, recalls
from kits.services.stock import receiving
from kits.services.stock.order_levels import stock_levels
from kits.services.trips import due_times, reservations, trips
from kits.services.trips.trip_facts import TripFacts
from kits.services.webhooks import owners, webhooks
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh

pytestmark = pytest.mark.django_db

STORE, HUT, BOTH = {"all", "store"}, {"all", "hut"}, {"all", "store", "hut"}

# What happens in `everything_that_happens`, and who reads of it.
WHO_READS: Mapping[tuple[str, str], set[str]] = {
    ("kit.added", "DAY-03"): STORE,
    ("kit.readiness_changed", "DAY-01"): STORE,
    ("kit.readiness_changed", "DAY-02"): STORE,
    ("kit.readiness_changed", "DAY-03"): STORE,
    ("kit.checked_out", "DAY-01"): STORE,
    ("kit.passed_on", "DAY-01"): STORE,
    ("kit.due_changed", "DAY-01"): STORE,
    ("kit.overdue", "DAY-01"): STORE,
    ("kit.checked_in", "DAY-01"): STORE,
    ("act.undone", "DAY-01"): STORE,
    ("kit.custody_corrected", "DAY-01"): STORE,
    ("kit.withheld", "DAY-01"): STORE,
    ("kit.released", "DAY-01"): STORE,
    ("kit.changed", "DAY-02"): BOTH,  # it moves from one to the other
    ("kit.checked_out", "DAY-03"): STORE,  # on a trip of the hut
    ("kit.due_changed", "DAY-03"): STORE,  # with that trip
    ("kit.checked_in", "DAY-03"): STORE,
    ("kit.retired", "DAY-03"): STORE,
    ("trip.created", "Ridge"): STORE,
    ("trip.updated", "Ridge"): STORE,
    ("trip.cancelled", "Ridge"): STORE,
    ("reservation.made", "Ridge"): STORE,
    ("reservation.released", "Ridge"): STORE,
    ("trip.covered", "Ridge"): STORE,
    ("trip.created", "Of nobody"): BOTH,  # from no room, and nobody leads it
    ("trip.updated", "Of nobody"): BOTH,
    ("trip.created", "Of the store"): STORE,  # from no room, and somebody of the store leads it
    ("trip.updated", "Of the store"): STORE,
    ("reservation.made", "Of the store"): STORE,
    ("reservation.released", "Of the store"): STORE,
    ("trip.covered", "Of the store"): STORE,
    ("trip.uncovered", "Of the store"): STORE,
    ("trip.created", "Moved"): STORE,
    ("trip.moved", "Moved"): STORE,
    ("trip.updated", "Moved"): HUT,
    ("trip.created", "Hut walk"): HUT,
    ("reservation.made", "Hut walk"): BOTH,  # of the hut, with a kit of the store
    ("trip.updated", "Hut walk"): HUT,
    ("trip.waiting", "Hut walk"): HUT,
    ("trip.uncovered", "Hut walk"): HUT,
    ("trip.covered", "Hut walk"): HUT,
    ("lot.recalled", "recall"): BOTH,
    ("recall.closed", "recall"): BOTH,
    ("stock.low", "stock"): STORE,
    ("stock.enough", "stock"): STORE,
}


@pytest.fixture
def w() -> World:
    w = make.world()
    everything_that_happens(w)
    return w


def readers(w: World, role: Role) -> dict[str, Person]:
    """Somebody of every room, of the store and of the hut."""
    return {
        name: make.person(f"{role.title()} of {name}", role, room)
        for name, room in {"all": None, "store": w.store, "hut": w.hut}.items()
    }


def webhook_of(owner: Person, room: Room | None) -> Webhook:
    """A webhook that somebody makes, of a room or of all of theirs."""
    address = "https://localhost/events"
    return webhooks.add(act(owner), name="Booking", address=address, types=[], room=room)[0]


def sent_to(webhook: Webhook) -> list[str]:
    """The ids of the events that it gets from the first on."""
    page = events_after(0, limit=1000, reader=owners.reader_of(webhook))
    return [str(event.message_id) for event in page.events]


def put(name: str, **more: Any) -> Trip:
    """A trip, as its source says that it is."""
    start = clock.now() + timedelta(days=5)
    facts = TripFacts(name, start, start + timedelta(hours=6), people=8)
    return trips.put(act(), "bookings", name, replace(facts, **more)).trip


def everything_that_happens(w: World) -> None:
    """One event of each type at least."""
    stock_levels.set_level(act(w.keeper), w.store, w.shears, 5)
    added = kits.add_kit(act(), name="DAY-03", list_version=w.version, home_room=w.store)
    announce()
    receiving.receive(act(w.keeper), item=w.shears, shelf=w.shelf, units=9)
    put("Ridge", room=w.store)
    ridge = put("Ridge", room=w.store, people=9)
    reservations.reserve(act(), w.day_01, ridge)
    announce()
    put("Ridge", room=w.store, cancelled=True)
    put("Of nobody")
    put("Of nobody", people=9)
    put("Of the store", leader=w.guide)
    loose = put("Of the store", leader=w.guide, people=9)
    reservations.reserve(act(), fresh(w.day_01), loose)
    announce()
    reservations.release(act(), loose.reservations.promised().get())
    put("Moved", room=w.store)
    put("Moved", room=w.hut, departs_at=clock.now() + timedelta(days=4))
    hut_walk = put("Hut walk", room=w.hut)
    reservations.reserve(act(), fresh(w.day_01), hut_walk)
    announce()
    custody.check_out(act(w.keeper), fresh(w.day_01), person=w.guide, already_gone=True)
    due_times.set_due(act(w.keeper), fresh(w.day_01), clock.now() + timedelta(hours=1))
    announce()
    passing_on.pass_on(act(w.guide), fresh(w.day_01), w.instructor)
    with clock.pretending(clock.now() + timedelta(hours=2)):
        announce()
        back = custody.check_in(act(w.guide), fresh(w.day_01))
        reversal.reverse(act(w.keeper), back.entry.pk)
        custody.check_in(act(w.guide), fresh(w.day_01))
        holds.withhold(act(w.guide), fresh(w.day_01), WithheldKind.DRYING)
        holds.release(act(w.keeper), fresh(w.day_01), WithheldKind.DRYING)
    kits.move_home(act(), w.day_02, w.hut)
    custody.check_out(act(), fresh(added), person=w.guide, trip=hut_walk, already_gone=True)
    due_times.extend(act(), hut_walk, hut_walk.returns_at + timedelta(hours=2))
    custody.check_in(act(), fresh(added))
    kits.retire_kit(act(), fresh(added))
    recall = recalls.start(act(w.keeper), item=w.tablets, scope="all")
    closing.close(act(w.adviser), recall, "withdrawn", published_at="A letter of 3 May")


def read(who: Person) -> list[Any]:
    """The events that somebody reads by the API."""
    events: list[Any] = make.caller(who).get("events/?limit=1000").json()["events"]
    return events


def names_of(events: Iterable[tuple[str, str]]) -> set[tuple[str, str]]:
    """The type of each event, and the name of what it is about."""
    kits_there = dict(Kit.objects.values_list("pk", "name"))
    trips_there = dict(Trip.objects.values_list("pk", "name"))
    names = {"kit": kits_there, "trip": trips_there}
    return {
        (name, names[kind][int(number)] if kind in names else kind)
        for name, subject in events
        for kind, _, number in [subject.partition(":")]
    }


def test_everybody_reads_what_is_of_their_rooms_and_no_more(w: World) -> None:
    who_read = defaultdict(set)
    for name, person in readers(w, Role.KEEPER).items():
        for event in names_of((each["type"], each["subject"]) for each in read(person)):
            who_read[event].add(name)
    assert who_read == WHO_READS
    assert {name for name, _ in WHO_READS} == EVENT_TYPES.keys()


def test_a_webhook_gets_what_its_owner_reads(w: World) -> None:
    owners_there = readers(w, Role.INTEGRATION)
    for person in owners_there.values():
        webhook = webhook_of(person, None)
        assert sent_to(webhook) == [each["id"] for each in read(person)]
    of_hut = webhook_of(owners_there["all"], w.hut)
    assert sent_to(of_hut) == [each["id"] for each in read(owners_there["hut"])]


def test_every_link_leads_to_what_its_reader_may_read(w: World) -> None:
    for role in (Role.KEEPER, Role.INTEGRATION):
        for person in readers(w, role).values():
            call = make.caller(person)
            links = {link for event in read(person) for link in event["links"].values()}
            answers = {link: call.get(link.removeprefix("/api/v1/")).status_code for link in links}
            assert set(answers.values()) == {200}, answers
