"""Kits promised to trips: reserved, released, swapped for the one in hand."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from kits.models import Entry, EntryKind, Kit, Reservation, Trip
from kits.services.custody import custody
from kits.services.kits import kits
from kits.services.ledger import audit
from kits.services.restocking import sorting
from kits.services.trips import reservations
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def day_03(w: make.World) -> Kit:
    """A second kit that is full and fit."""
    make.some(w.dressing, w.shelf, 6, "D9", make.days(500))
    kit = make.kit("DAY-03", w.version, w.store)
    sorting.restock(make.act(), kit)
    return make.fresh(kit)


def standing() -> list[tuple[str, str, str | None]]:
    rows = Reservation.objects.filter(released__isnull=True).select_related("kit", "trip", "person")
    return sorted((r.kit.name, r.trip.name, r.person.name if r.person else None) for r in rows)


def reserve(w: make.World, kit: Kit, trip: Trip, person: Any = None) -> Reservation:
    return reservations.reserve(make.act(w.keeper), kit, trip, person=person).reservation


# ------------------------------------------------------------------------------------- reserving
def test_a_kit_is_reserved_at_its_door_and_the_answer_says_how_it_stands(w: make.World) -> None:
    trip = make.trip("Moor", w.store, 1, 1)
    call = make.caller(w.keeper)
    wanted = {"kit": "day-01", "trip": f"by-hand:{trip.reference}", "person": str(w.guide.pk)}
    done = call.post("reservations/", wanted)
    assert done.status_code == 201
    told = done.json()
    assert (told["reservation"]["kit"], told["reservation"]["person"]["name"]) == ("DAY-01", "Gil")
    assert (told["verdict"]["fit"], told["verdict"]["through"]) == (True, str(make.days(1)))
    assert call.get(f"reservations/{told['reservation']['id']}/").json() == told["reservation"]
    assert Entry.objects.filter(kind=EntryKind.RESERVE, kit=w.day_01, trip=trip).count() == 1


def test_a_kit_that_will_not_be_fit_is_reserved_with_the_reasons_told(w: make.World) -> None:
    done = reservations.reserve(make.act(w.keeper), w.day_02, make.trip("Moor", w.store, 1, 1))
    assert not done.verdict.may_go
    assert done.verdict.reasons


def test_reserved_twice_for_the_same_trip_is_reserved_once(w: make.World) -> None:
    trip = make.trip("Moor", w.store, 1, 1)
    call, wanted = make.caller(w.keeper), {"kit": "DAY-01", "trip": str(trip.pk)}
    assert call.post("reservations/", wanted).status_code == 201
    again = call.post("reservations/", wanted)
    assert again.status_code == 200
    assert Entry.objects.filter(kind=EntryKind.RESERVE).count() == 1
    named = call.post("reservations/", {**wanted, "person": str(w.guide.pk)})
    assert named.json()["reservation"]["person"]["name"] == "Gil"
    assert standing() == [("DAY-01", "Moor", "Gil")]


@pytest.mark.parametrize(("first", "last"), [(2, 2), (1, 2), (2, 5), (0, 9), (3, 3)])
def test_trips_that_share_a_day_do_not_share_a_kit(w: make.World, first: int, last: int) -> None:
    reserve(w, w.day_01, make.trip("Cave week", w.store, 2, 3))
    trip = make.trip("Moor", w.store, first, last)
    answer = make.caller(w.keeper).post("reservations/", {"kit": "DAY-01", "trip": str(trip.pk)})
    problem = is_problem(answer, 409, "kit-reserved")
    assert (problem["trip_name"], problem["kit"]) == ("Cave week", "DAY-01")
    assert "Cave week" in problem["detail"]
    assert standing() == [("DAY-01", "Cave week", None)]


def test_trips_on_other_days_share_a_kit(w: make.World) -> None:
    for name, first, last in (("Cave week", 2, 3), ("Moor", 1, 1), ("Gorge", 4, 4)):
        reserve(w, w.day_01, make.trip(name, w.store, first, last))
    assert len(standing()) == 3


def test_a_cancelled_trip_keeps_no_kit_from_others_and_gets_none(w: make.World) -> None:
    trip = make.trip("Cave week", w.store, 2, 3)
    reserve(w, w.day_01, trip)
    Trip.objects.filter(pk=trip.pk).update(cancelled_at=timezone.now())
    reserve(w, w.day_01, make.trip("Moor", w.store, 2, 2))
    with refused("trip-cancelled"):
        reserve(w, w.day_02, trip)


def test_nothing_is_reserved_for_a_trip_that_is_over_nor_of_a_retired_kit(w: make.World) -> None:
    with refused("trip-is-over", 422):
        reserve(w, w.day_01, make.trip("Gone", w.store, -3, -2))
    kits.retire_kit(make.act(w.keeper), w.day_02)
    with refused("kit-retired"):
        reserve(w, w.day_02, make.trip("Moor", w.store, 1, 1))


def test_it_says_who_has_a_kit_beyond_the_departure(w: make.World) -> None:
    due = timezone.now() + timedelta(days=3)
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, due_at=due)
    trip = make.trip("Moor", w.store, 2, 2)
    done = make.caller(w.keeper).post("reservations/", {"kit": "DAY-01", "trip": str(trip.pk)})
    assert done.json()["out_beyond"]["person"]["name"] == "Gil"


def test_guides_and_other_rooms_reserve_nothing(w: make.World) -> None:
    wanted = {"kit": "DAY-01", "trip": str(make.trip("Moor", w.store, 1, 1).pk)}
    is_problem(make.caller(w.guide).post("reservations/", wanted), 403, "role-missing")
    hut = make.caller(make.person("Hal", make.Role.KEEPER, w.hut))
    is_problem(hut.post("reservations/", wanted), 404, "not-found")
    is_problem(
        make.caller(w.keeper).post("reservations/", {**wanted, "why": "x"}),
        400,
        "invalid-request",
    )
    assert standing() == []


# ------------------------------------------------------------------------------------- releasing
def test_a_released_kit_is_free_again(w: make.World) -> None:
    promise = reserve(w, w.day_01, make.trip("Moor", w.store, 1, 1))
    call = make.caller(w.keeper)
    done = call.post(f"reservations/{promise.pk}/release/")
    assert done.json()["released_at"]
    is_problem(call.post(f"reservations/{promise.pk}/release/"), 409, "released-already")
    reserve(w, w.day_01, make.trip("Cave day", w.store, 1, 1))
    rows = call.get("reservations/?kit=DAY-01").json()["results"]
    assert [row["trip"]["name"] for row in rows] == ["Cave day"]
    rows = call.get("reservations/?released=true").json()["results"]
    assert [row["trip"]["name"] for row in rows] == ["Moor"]
    assert not list(audit.findings())


# -------------------------------------------------------------------------------------- swapping
def test_the_kit_in_hand_takes_the_place_of_the_one_reserved(w: make.World, day_03: Kit) -> None:
    promise = reserve(w, w.day_01, make.trip("Moor", w.store, 0, 0), w.guide)
    done = make.caller(w.guide).post(f"reservations/{promise.pk}/swap/", {"kit": "DAY-03"})
    assert done.status_code == 200
    assert done.json()["instead"] is None
    assert standing() == [("DAY-03", "Moor", "Gil")]
    assert [e.kind for e in Entry.objects.order_by("id")][-2:] == ["unreserve", "reserve"]
    taken = custody.check_out(make.act(w.guide), make.fresh(day_03))
    assert present(taken.checkout).person == w.guide


def test_two_guides_of_a_trip_who_took_each_others_kit_change_places(
    w: make.World, day_03: Kit
) -> None:
    trip = make.trip("Moor", w.store, 0, 0)
    reserve(w, w.day_01, trip, w.guide)
    reserve(w, day_03, trip, w.instructor)
    reservations.swap(make.act(w.guide), w.day_01, day_03, trip)
    assert standing() == [("DAY-01", "Moor", "Ines"), ("DAY-03", "Moor", "Gil")]


def test_kits_of_two_trips_on_the_same_day_change_places(w: make.World, day_03: Kit) -> None:
    moor, cave = make.trip("Moor", w.store, 0, 0), make.trip("Cave day", w.store, 0, 1)
    reserve(w, w.day_01, moor, w.guide)
    reserve(w, day_03, cave, w.instructor)
    done = reservations.swap(make.act(w.guide), w.day_01, day_03, moor)
    assert done.instead is not None
    assert done.instead.reservation.kit == w.day_01
    assert standing() == [("DAY-01", "Cave day", "Ines"), ("DAY-03", "Moor", "Gil")]
    assert not list(audit.findings())


def test_a_swap_never_promises_a_kit_twice(w: make.World, day_03: Kit) -> None:
    moor, cave = make.trip("Moor", w.store, 0, 0), make.trip("Cave week", w.store, 0, 5)
    reserve(w, w.day_01, moor)
    reserve(w, w.day_01, make.trip("Gorge", w.store, 3, 3))
    reserve(w, day_03, cave)
    before = standing()
    with refused("kit-reserved") as caught:
        reservations.swap(make.act(w.guide), w.day_01, day_03, moor)
    assert caught.value.facts["trip_name"] == "Gorge"
    assert standing() == before


def test_a_kit_that_does_not_do_is_not_swapped_in_and_it_says_why(w: make.World) -> None:
    trip = make.trip("Moor", w.store, 0, 0)
    promise = reserve(w, w.day_01, trip, w.guide)
    answer = make.caller(w.guide).post(f"reservations/{promise.pk}/swap/", {"kit": "DAY-02"})
    problem = is_problem(answer, 409, "does-not-suit")
    assert problem["reasons"][0]["text"] in problem["detail"]
    assert standing() == [("DAY-01", "Moor", "Gil")]


def test_what_did_not_suit_before_is_no_reason_against_a_swap(w: make.World, day_03: Kit) -> None:
    trip = make.trip("Moor", w.store, 0, 0, people=60)
    reserve(w, w.day_01, trip)
    reservations.swap(make.act(w.guide), w.day_01, day_03, trip)
    assert standing() == [("DAY-03", "Moor", None)]


def test_a_kit_that_somebody_has_is_not_swapped_in(w: make.World, day_03: Kit) -> None:
    promise = reserve(w, w.day_01, make.trip("Moor", w.store, 0, 0))
    custody.check_out(make.act(w.keeper), day_03, person=w.instructor)
    call = make.caller(w.guide)
    path = f"reservations/{promise.pk}/swap/"
    assert (
        is_problem(call.post(path, {"kit": "DAY-03"}), 409, "kit-is-out")["person_name"] == "Ines"
    )
    is_problem(call.post(path, {"kit": "DAY-01"}), 409, "same-kit")
    reservations.release(make.act(w.keeper), promise)
    is_problem(call.post(path, {"kit": "DAY-02"}), 409, "not-reserved")


def test_reservations_are_listed_in_few_queries(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    for number in range(12):
        reserve(w, w.day_01, make.trip(f"Trip {number}", w.store, number, number), w.guide)
    call = make.caller(w.guide)
    with django_assert_max_num_queries(4):
        rows = call.get("reservations/").json()["results"]
    assert len(rows) == 12
    assert rows[0]["trip"]["name"] == "Trip 11"
    assert make.caller(w.stranger).get("reservations/").json()["results"] == []
