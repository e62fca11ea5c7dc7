"""Many trips at once: each has its own result, and all are done once."""

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gearroom.core.rules.roles import Role
from kits.models import Entry, Notice, Trip
from kits.services.trips import reservations
from tests.core.api.made import Caller, is_problem
from tests.kits import factories as make
from tests.kits.trips.test_trips import body

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def bookings(w: make.World) -> Caller:
    """The booking system of the main store."""
    return make.caller(make.person("Bookings", Role.INTEGRATION, w.store))


def named(reference: str, *days: int, **more: Any) -> dict[str, Any]:
    return body(*days, **more) | {"reference": reference}


def send(call: Caller, *trips: dict[str, Any], key: str = "") -> list[dict[str, Any]]:
    answer = call(
        "POST",
        "trips/batch/",
        {"source": "bookings", "trips": list(trips)},
        idempotency_key=key or str(uuid.uuid4()),
    )
    assert answer.status_code == 200, answer.content
    rows: list[dict[str, Any]] = answer.json()["results"]
    return rows


def told(rows: list[dict[str, Any]]) -> list[str]:
    return [row["told"] for row in rows]


def test_each_trip_is_made_changed_or_left_as_it_is(bookings: Caller) -> None:
    assert told(send(bookings, named("T-1"), named("T-2"))) == ["created", "created"]
    rows = send(bookings, named("T-2", people=9), named("T-1"), named("T-3"))
    assert told(rows) == ["updated", "unchanged", "created"]
    assert [row["trip"] and row["trip"]["people"] for row in rows] == [9, None, body()["people"]]
    assert Trip.objects.get(reference="T-1").revision == 1


def test_what_is_refused_keeps_no_other_from_being_put(w: make.World, bookings: Caller) -> None:
    make.trip("Theirs", w.hut, 3, 3)
    Trip.objects.update(source="bookings", reference="T-0")
    rows = send(
        bookings,
        named("T-0"),
        named("T-1", people=0),
        named("T-2", room="nowhere"),
        named("T-3", 5, 4),
        named("T-4") | {"colour": "red"},
        named("--"),
        named("T-5"),
        named("T-6"),
        named("T-6", people=9),
    )
    assert told(rows) == [*["refused"] * 6, "created", "refused", "refused"]
    assert [row["problem"] and row["problem"]["code"] for row in rows] == [
        "not-found",
        "cannot-be-right",
        "not-found",
        "trip-ends-before-it-begins",
        "cannot-be-right",
        "cannot-be-right",
        None,
        "trip-more-than-once",
        "trip-more-than-once",
    ]
    assert list(rows[1]["problem"]["errors"]) == ["people"]
    assert Trip.objects.get(reference="T-0").name == "Theirs"


def test_another_room_s_trip_is_not_there_even_where_it_is_as_wanted(
    w: make.World, bookings: Caller
) -> None:
    send(make.caller(make.person("Chief", Role.ADMINISTRATOR)), named("T-1", room="cave-hut"))
    (row,) = send(bookings, named("T-1", room=None))
    assert (row["told"], row["problem"]["code"]) == ("refused", "not-found")


def test_sent_again_it_is_not_done_again_and_says_the_same(bookings: Caller) -> None:
    key = str(uuid.uuid4())
    trips = [named("T-1"), named("T-2", people=0)]
    first = send(bookings, *trips, key=key)
    send(bookings, named("T-1", people=9))
    assert send(bookings, *trips, key=key) == first
    assert Trip.objects.get().people == 9


def test_a_trip_without_a_reference_names_nothing(bookings: Caller) -> None:
    answer = bookings("POST", "trips/batch/", {"source": "bookings", "trips": [body()]})
    is_problem(answer, 400, "invalid-request")
    none = bookings("POST", "trips/batch/", {"source": "Our_bookings", "trips": []})
    is_problem(none, 422, "cannot-be-right")


def test_every_change_says_what_it_means_for_the_kits(w: make.World, bookings: Caller) -> None:
    send(bookings, named("T-1", 3, 3), named("T-2", 5, 5), named("T-3", 8, 8))
    trips = {row.reference: row for row in Trip.objects.all()}
    for reference in ("T-1", "T-2", "T-3"):
        reservations.reserve(make.act(w.keeper), w.day_01, trips[reference])
    moved, off, grown = send(
        bookings,
        named("T-1", 8, 8),
        named("T-2", 5, 5, state="cancelled"),
        named("T-3", 8, 8, people=40),
    )
    assert [clash["kit"] for clash in moved["clashes"]] == ["DAY-01"]
    assert off["released"] == ["DAY-01"]
    assert [each["code"] for each in grown["no_longer_served"]] == ["too-few-people"]
    assert Notice.objects.filter(kind="trip-changed", person=w.keeper).exists()


def test_a_kit_may_change_places_between_two_trips_of_one_batch(
    w: make.World, bookings: Caller
) -> None:
    send(bookings, named("T-1", 3, 3), named("T-2", 5, 5))
    for trip in Trip.objects.order_by("reference"):
        reservations.reserve(make.act(w.keeper), w.day_01, trip)
    rows = send(bookings, named("T-1", 5, 5), named("T-2", 3, 3))
    assert told(rows) == ["updated", "updated"]
    assert [row["clashes"] for row in rows][-1] == []


def test_unchanged_trips_cost_no_query_each(bookings: Caller) -> None:
    def queries(count: int) -> int:
        trips = [named(f"T-{number}") for number in range(count)]
        send(bookings, *trips)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert set(told(send(bookings, *trips))) == {"unchanged"}
        return len(queries)

    assert queries(2) == queries(12) <= 20


def test_what_a_batch_writes_is_the_sender_s_alone(w: make.World, bookings: Caller) -> None:
    send(bookings, named("T-1"), named("T-2"))
    keys = set(Entry.objects.filter(kind="trip").values_list("key", flat=True))
    assert len(keys) == 2
