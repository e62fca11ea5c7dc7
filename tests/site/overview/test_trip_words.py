"""What the board and a trip's page say of where its kits are: the same, and true."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from gearroom.core import clock
from kits.models import AsFound, Trip
from kits.services.custody import custody
from kits.services.restocking import sealing, sorting
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE

ALL_OUT = "All kits for today and tomorrow are out."
NONE_RESERVED = "No kit is reserved for this trip."


@pytest.fixture
def world() -> make.World:
    return make.world()


def walk(world: make.World, first: int = 0, last: int = 0, **more: Any) -> Trip:
    return make.trip("Ridge walk", world.store, first, last, leader=world.guide, **more)


def reserve(world: make.World, trip: Trip) -> None:
    reservations.reserve(make.act(world.keeper), make.fresh(world.day_01), trip)


def go(world: make.World) -> None:
    custody.check_out(make.act(world.keeper), make.fresh(world.day_01), person=world.guide)


def come_back(world: make.World, as_found: AsFound = AsFound.SEALED) -> None:
    custody.check_in(make.act(world.keeper), make.fresh(world.day_01), as_found=as_found)


def pages(world: make.World, trip: Trip) -> tuple[str, str, str]:
    """The board's part of what goes out, the trip's page, and the list of trips."""
    client: Client = browser(world.keeper)
    board = text_of(client.get("/")).split("Going out")[1].split("Out now")[0]
    return board, text_of(client.get(f"/trips/{trip.pk}/")), text_of(client.get("/trips/"))


def test_with_no_kit_reserved_all_say_so(world: make.World) -> None:
    board, page, trips = pages(world, walk(world))

    assert "No kit yet" in board and NONE_RESERVED in board
    assert "No kit yet" in page and NONE_RESERVED in page
    assert "No kit yet" in trips
    assert "is out" not in board


def test_a_reserved_kit_is_still_to_go(world: make.World) -> None:
    trip = walk(world, 1, 1)
    reserve(world, trip)
    board, page, _trips = pages(world, trip)

    assert "DAY-01 Ready" in board and NONE_RESERVED not in board
    assert "The kits for this trip are ready up to" in page


def test_a_kit_that_is_out_is_out_everywhere(world: make.World) -> None:
    trip = walk(world, 1, 1)
    reserve(world, trip)
    go(world)
    board, page, _trips = pages(world, trip)

    assert ALL_OUT in board
    assert "Ridge walk Out" in page and "All kits for this trip have been taken out." in page


@pytest.mark.parametrize("departed", [False, True])
def test_a_kit_that_is_out_on_a_trip_that_it_does_not_suit_is_no_missing_kit(
    world: make.World, departed: bool
) -> None:
    day = 0 if departed else 1
    trip = walk(world, day, day, hazards=["cave"])
    reserve(world, trip)
    custody.check_out(
        make.act(world.keeper),
        make.fresh(world.day_01),
        person=world.guide,
        short_reason="the only one",
    )
    board, page, _trips = pages(world, trip)

    assert "1 kit is out" in board
    assert NONE_RESERVED not in board and "No kit yet" not in board
    assert "Not covered: ask first" in board and "Not covered: ask first" in page
    assert "caves" in board  # what it is not made for


def test_a_kit_back_before_its_trip_departs_is_here_again(world: make.World) -> None:
    trip = walk(world, 1, 1)
    reserve(world, trip)
    sealing.reseal(make.act(world.keeper), make.fresh(world.day_01), "0417")
    go(world)
    come_back(world)
    board, page, trips = pages(world, trip)

    assert "DAY-01 Ready" in board and "is out" not in board
    assert "have been taken out" not in page and "Ridge walk Covered" in page
    assert "Ridge walk Out" not in trips


def test_back_before_it_departs_with_the_hazards_changed_since_it_is_not_out(
    world: make.World,
) -> None:
    trip = walk(world, 1, 1, hazards=["cave"])
    reserve(world, trip)
    sealing.reseal(make.act(world.keeper), make.fresh(world.day_01), "0417")
    custody.check_out(
        make.act(world.keeper), make.fresh(world.day_01), person=world.guide, short_reason="x"
    )
    come_back(world)
    Trip.objects.filter(pk=trip.pk).update(hazards=[])
    board, page, trips = pages(world, trip)

    assert "DAY-01 Ready" in board
    assert "Ridge walk Out" not in page and "Ridge walk Out" not in trips


def test_a_kit_back_from_its_trip_on_the_last_day_is_not_out(world: make.World) -> None:
    trip = walk(world)
    reserve(world, trip)
    go(world)
    with time_machine.travel(clock.now() + timedelta(minutes=1), tick=False):
        come_back(world, AsFound.OPENED)
        board, page, _trips = pages(world, trip)

    assert ALL_OUT not in board
    assert "No more kits go out today or tomorrow." in board
    assert "Ridge walk Back" in page and "All kits from this trip are back." in page


def test_one_out_and_one_that_stayed_is_no_trip_with_all_its_kits_ready(world: make.World) -> None:
    trip = walk(world)
    reserve(world, trip)
    reservations.reserve(make.act(world.keeper), world.day_02, trip)
    go(world)
    board, page, _trips = pages(world, trip)

    assert "1 kit is out" in board and "DAY-02" in board
    assert "The kits for this trip are ready up to" not in page
    assert "Not all kits for this trip are out, but the ones that are out cover it." in page


def test_one_out_and_one_ready_before_it_departs_says_both(world: make.World) -> None:
    trip = walk(world, 1, 1)
    reserve(world, trip)
    ready = make.kit("DAY-07", world.version, world.store)
    sorting.restock(make.act(), ready)
    reservations.reserve(make.act(world.keeper), ready, trip)
    go(world)
    _board, page, _trips = pages(world, trip)

    assert "Some of the kits for this trip are out; the others are ready up to" in page


def test_a_trip_without_a_kit_is_not_served_by_zero(world: make.World) -> None:
    board, page, _trips = pages(world, walk(world))

    assert "only 0" not in board and "only 0" not in page
    assert "There are 8 people on the trip, and no kit serves them." in page


def test_a_trip_of_more_days_than_its_kits_are_made_for_is_not_served_by_zero(
    world: make.World,
) -> None:
    trip = walk(world, 1, 2)
    reserve(world, trip)
    _board, page, _trips = pages(world, trip)

    assert "only 0" not in page
    assert "The trip lasts 2 days, and none of its kits is made for that long." in page


def test_its_leader_is_offered_once(world: make.World) -> None:
    trip = walk(world, 1, 1)
    page = browser(world.keeper).get(f"/trips/{trip.pk}/").content.decode()
    select = page.split('name="person"')[1].split("</select>")[0]

    assert select.count("Gil") == 1


# ------------------------------------------------------------------------------- expiry dates
def expiring(world: make.World) -> str:
    page = text_of(browser(world.guide).get("/"))
    return page.split("Needs attention")[1].split("Needs sorting")[0]


def test_what_goes_out_of_date_within_a_week_needs_attention(world: make.World) -> None:
    make.some(world.shears, world.shelf, 3, "NEAR", make.days(7))
    make.some(world.shears, world.shelf, 4, "LATER", make.days(8))
    soon = make.some(world.tablets, world.shelf, 2, "SOON", make.days(2))
    make.put_in(world.day_01, soon, world.shelf, 2)
    go(world)  # what is out goes out of date as well

    part = expiring(world)

    assert "Expiry dates up to" in part
    assert "2 × Pain tablets" in part and "( DAY-01 )" in part
    assert "3 × Shears" in part and "(shelf C2)" in part
    assert "4 × Shears" not in part


def test_nothing_that_goes_out_of_date_soon_says_nothing(world: make.World) -> None:
    assert "Expiry dates up to" not in expiring(world)


def test_with_every_kit_out_none_here_is_called_ready(world: make.World) -> None:
    custody.check_out(
        make.act(world.keeper), make.fresh(world.day_02), person=world.guide, emergency=True
    )
    go(world)

    part = expiring(world)

    assert "All kits here are ready" not in part
    assert "There are no kits here to take out." in part


# ----------------------------------------------------------------------------------- small ones
def test_reasons_are_announced_only_where_some_follow(world: make.World) -> None:
    trip = walk(world, 1, 1)
    reserve(world, trip)
    reservations.reserve(make.act(world.keeper), make.fresh(world.day_02), trip)
    Trip.objects.filter(pk=trip.pk).update(hazards=["cave"])
    page = text_of(browser(world.keeper).get(f"/trips/{trip.pk}/"))

    assert "the reasons are below" not in page
    assert "There are no other kits to choose from." in page


def test_the_room_says_when_a_guide_needs_no_reason(world: make.World) -> None:
    page = text_of(browser(world.keeper).get(f"/rooms/{world.store.slug}/"))

    assert "less of a routine item than the minimum on its list" in page
    assert (
        "No reason is needed for a kit that is low on something but has the minimum inside." in page
    )
