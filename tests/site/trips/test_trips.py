"""Trips on the pages: those to come, a month of them, their kits, and trips added by hand."""

import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from gearroom.core.models import Person
from kits.models import Kit, Reservation, Trip, WithheldKind
from kits.services.custody import custody
from kits.services.kits import holds
from kits.services.trips import reservations, trips
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


def promised(kit: Kit, trip: Trip) -> Reservation:
    return reservations.reserve(make.act(), kit, trip).reservation


def item_of(response: Any, name: str) -> str:
    """The list item in which a name stands, in words."""
    rows = re.findall(r"<li class=.*?</li>", response.content.decode(), re.S)
    row = next(row for row in rows if name in row)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", row))


# -------------------------------------------------------------------------------- those to come
def test_trips_to_come_are_listed_soonest_first_with_how_their_kits_stand(
    world: make.World,
) -> None:
    make.trip("Gorge day", world.store, 3, 3)
    walk = make.trip("Crag walk", world.store, 1, 1, leader=world.guide)
    promised(world.day_01, walk)
    promised(world.day_02, make.trip("Fell day", world.store, 2, 2))
    make.trip("Last week", world.store, -7, -7)

    page = browser(world.guide).get("/trips/")

    assert re.findall(r"(Crag walk|Fell day|Gorge day|Last week)</a>", page.content.decode()) == [
        "Crag walk",
        "Fell day",
        "Gorge day",
    ]
    assert "Covered" in item_of(page, "Crag walk")
    assert "Gil" in item_of(page, "Crag walk")
    assert "DAY-02 Do not take: no Wound dressing 10 × 12" in item_of(page, "Fell day")
    assert "No kit yet" in item_of(page, "Gorge day")


def test_trips_of_rooms_that_are_not_theirs_are_not_shown(world: make.World) -> None:
    trip = make.trip("Sump dive", world.hut, 1, 1)

    client = browser(world.guide)
    assert "Sump dive" not in text_of(client.get("/trips/"))
    assert "Sump dive" not in text_of(client.get("/trips/calendar/"))
    assert client.get(f"/trips/{trip.pk}/").status_code == 404
    assert "Sump dive" in text_of(browser(world.stranger).get("/trips/"))


def test_whoever_sees_several_rooms_may_look_at_one(world: make.World) -> None:
    make.trip("Sump dive", world.hut, 1, 1)
    make.trip("Crag walk", world.store, 1, 1)

    page = text_of(browser(world.adviser).get("/trips/?room=cave-hut"))

    assert "Sump dive" in page
    assert "Crag walk" not in page


@pytest.mark.parametrize("path", ["/trips/", "/trips/calendar/"])
def test_it_asks_the_database_as_much_for_many_trips_as_for_few(
    world: make.World, path: str, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(8):
        kit = make.kit(f"DAY-1{number}", world.version, world.store)
        promised(kit, make.trip(f"Walk {number}", world.store, 0, 0))
    client = browser(world.guide)

    with django_assert_max_num_queries(21):
        page = client.get(path)

    assert "Walk 7" in text_of(page)


def test_nothing_to_come_says_how_trips_arrive(world: make.World) -> None:
    assert "add one by hand" in text_of(browser(world.keeper).get("/trips/"))


# -------------------------------------------------------------------------------------- a month
def test_a_month_is_a_table_with_each_trip_on_each_of_its_days(world: make.World) -> None:
    first = (make.today().replace(day=1) + timedelta(days=62)).replace(day=9)
    away = (first - make.today()).days
    make.trip("Long walk", world.store, away, away + 3)

    page = browser(world.guide).get(f"/trips/calendar/?month={first:%Y-%m}").content.decode()

    for day in range(9, 13):
        cell = page.split(f'datetime="{first.replace(day=day)}"')[1].split("</td>")[0]
        assert "Long walk" in cell
        assert "no kit" in cell
    assert page.count("Long walk") == 4
    heads = re.findall(r'<th scope="col"><abbr title="(\w+)"', page)
    assert (len(heads), heads[0]) == (7, "Monday")


def test_a_telephone_lists_the_days_that_have_trips_with_their_weekday(world: make.World) -> None:
    first = make.days(0).replace(day=1)
    on = (first - make.days(0)).days
    make.trip("Crag walk", world.store, on, on)

    page = browser(world.guide).get(f"/trips/calendar/?month={first:%Y-%m}").content.decode()

    day = f'<time datetime="{first:%Y-%m-%d}"><span>{first:%a} </span>1</time>'
    assert re.search(rf'<td(?! class="free")[^>]*>\s*{re.escape(day)}', page)
    assert 'class="free"' in page
    empty = browser(world.guide).get("/trips/calendar/?month=2019-02")
    assert "There are no trips in this month." in text_of(empty)


def test_todays_cell_is_marked_and_the_months_beside_are_one_tap_away(world: make.World) -> None:
    page = browser(world.guide).get("/trips/calendar/").content.decode()

    assert re.search(rf'aria-current="date">\s*<time datetime="{make.today()}"', page)
    before = make.today().replace(day=1) - timedelta(days=1)
    assert f"?month={before:%Y-%m}" in page


@pytest.mark.parametrize("month", ["soon", "2026-13", "9999-12", "0001-01", "2026-05-01"])
def test_a_month_that_is_none_is_said(world: make.World, month: str) -> None:
    answer = browser(world.guide).get("/trips/calendar/", {"month": month})

    assert answer.status_code == 400
    assert "such as 2026-05" in text_of(answer)


# ------------------------------------------------------------------------------------- its kits
def test_a_trip_says_whether_its_kits_suit_it_together_and_are_fit_through_its_last_day(
    world: make.World,
) -> None:
    trip = make.trip("Big walk", world.store, 1, 1, people=18, hazards=["cave"])
    promised(world.day_01, trip)
    path = f"/trips/{trip.pk}/"

    page = text_of(browser(world.keeper).get(path))
    assert "There are 18 people on the trip, but its kits serve only 10." in page
    assert "None of the trip’s kits is made for: caves and mines." in page
    trip.people, trip.hazards = 20, []
    trip.save()
    promised(scanned.filled("DAY-03", world), trip)

    page = text_of(browser(world.keeper).get(path))
    assert "together they cover it" in page


def test_a_kit_is_judged_through_the_trips_last_day(world: make.World) -> None:
    trip = make.trip("Far walk", world.store, 290, 310)
    promised(world.day_01, trip)

    page = browser(world.guide).get(f"/trips/{trip.pk}/")

    assert "Pain tablets: good until" in item_of(page, "DAY-01")


def test_kits_are_reserved_as_proposed_in_one_tap(world: make.World) -> None:
    trip = make.trip("Big walk", world.store, 1, 1, people=18)
    scanned.filled("DAY-03", world)
    client, path = browser(world.keeper), f"/trips/{trip.pk}/"

    page = client.get(path)
    assert "DAY-01, DAY-03" in text_of(page).replace(" ,", ",")
    assert "Why the other kits are not suggested" in text_of(page)
    form = page.content.decode().split('class="proposal"')[1].split("</form>")[0]
    kits = re.findall(r'name="kit" value="([^"]*)"', form)
    post(client, f"{path}reserve/", kit=kits)

    assert set(Reservation.objects.values_list("kit__name", flat=True)) == {"DAY-01", "DAY-03"}
    assert "Reserved for Big walk: DAY-01, DAY-03." in text_of(client.get(path))


def test_a_kit_is_reserved_for_a_person_and_released(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 1, 1)
    client, path = browser(world.keeper), f"/trips/{trip.pk}/"

    post(client, f"{path}reserve/", kit="DAY-01", person=world.guide.pk)
    row = Reservation.objects.get()
    assert (row.kit, row.person) == (world.day_01, world.guide)
    assert "Gil" in item_of(client.get(path), "DAY-01")
    post(client, f"{path}release/", reservation=row.pk)

    row.refresh_from_db()
    assert row.released is not None
    assert "No kit is reserved for this trip." in text_of(client.get(path))


def test_a_kit_of_another_trip_on_those_days_is_refused_with_both_named(world: make.World) -> None:
    promised(world.day_01, make.trip("Fell day", world.store, 1, 1))
    trip = make.trip("Crag walk", world.store, 1, 1)
    client, path = browser(world.keeper), f"/trips/{trip.pk}/"

    answer = post(client, f"{path}reserve/", kit="DAY-01")

    assert answer.status_code == 409
    assert "DAY-01 is reserved for Fell day" in text_of(answer)
    assert "This kit is reserved for Fell day on those days." in text_of(answer)


def test_reserving_nothing_says_what_to_do(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 1, 1)

    answer = post(browser(world.keeper), f"/trips/{trip.pk}/reserve/")

    assert (answer.status_code, "Choose a kit" in text_of(answer)) == (400, True)


def test_another_trips_reservation_is_not_released_from_here(world: make.World) -> None:
    row = promised(world.day_01, make.trip("Fell day", world.store, 1, 1))
    other = make.trip("Crag walk", world.store, 1, 1)

    for ref in (row.pk, "x", ""):
        answer = post(browser(world.keeper), f"/trips/{other.pk}/release/", reservation=ref)
        assert answer.status_code == 404
    row.refresh_from_db()
    assert row.released is None


def test_the_same_form_sent_twice_reserves_once(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 1, 1)
    client, key = browser(world.keeper), uuid.uuid4()

    for _ in range(2):
        post(client, f"/trips/{trip.pk}/reserve/", key=key, kit="DAY-01")

    assert Reservation.objects.count() == 1


def test_a_kit_that_went_is_out_and_is_not_released(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 0, 0, leader=world.guide)
    promised(world.day_01, trip)
    custody.check_out(make.act(world.keeper), world.day_01)
    client = browser(world.keeper)

    page = client.get(f"/trips/{trip.pk}/")
    assert "All kits for this trip have been taken out." in text_of(page)
    assert "Release" not in item_of(page, "DAY-01")
    custody.check_in(make.act(world.keeper), world.day_01)
    assert "Back" in item_of(client.get(f"/trips/{trip.pk}/"), "DAY-01")


def test_who_has_a_kit_beyond_the_departure_is_named(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 2, 2)
    due = trip.departs_at + timedelta(days=2)
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, due_at=due)
    promised(world.day_01, trip)

    page = browser(world.keeper).get(f"/trips/{trip.pk}/")

    assert "Gil has this kit, due back" in item_of(page, "DAY-01")
    assert "must be back before" in item_of(page, "DAY-01")
    assert "Not covered" in text_of(page)


def test_what_is_kept_back_stands_against_the_trip(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 1, 1)
    promised(world.day_01, trip)
    holds.withhold(make.act(world.keeper), world.day_01, WithheldKind.DRYING)

    assert "The kit is drying" in item_of(browser(world.guide).get(f"/trips/{trip.pk}/"), "DAY-01")


def test_a_guide_sees_a_trip_and_reserves_nothing(world: make.World) -> None:
    trip = make.trip("Crag walk", world.store, 1, 1)
    client = browser(world.guide)

    assert "Reserve a kit" not in text_of(client.get(f"/trips/{trip.pk}/"))
    assert post(client, f"/trips/{trip.pk}/reserve/", kit="DAY-01").status_code == 403
    assert client.get("/trips/add/").status_code == 403


def test_a_leaders_telephone_is_shown_only_to_those_who_may_see_people(world: make.World) -> None:
    Person.objects.filter(pk=world.guide.pk).update(phone="01632 960111")
    trip = make.trip("Crag walk", world.store, 1, 1, leader=world.guide)

    assert "01632 960111" in text_of(browser(world.keeper).get(f"/trips/{trip.pk}/"))
    assert "01632 960111" not in text_of(browser(world.adviser).get(f"/trips/{trip.pk}/"))


@pytest.mark.parametrize("ended", ["cancelled", "over"])
def test_a_kit_that_is_still_out_on_a_trip_that_is_off_or_over_is_not_said_to_be_back(
    world: make.World, ended: str
) -> None:
    trip = make.trip("Crag walk", world.store, 0, 0)
    custody.check_out(make.act(), world.day_01, person=world.guide, trip=trip, already_gone=True)
    if ended == "cancelled":
        trips.cancel(make.act(), trip)
    else:
        past = trip.departs_at - timedelta(days=3)
        day = past.date()
        Trip.objects.update(departs_at=past, returns_at=past, first_day=day, last_day=day)
    page = browser(world.keeper).get(f"/trips/{trip.pk}/")
    assert "Out" in item_of(page, "DAY-01") and "Back" not in item_of(page, "DAY-01")
    custody.check_in(make.act(), world.day_01)
    page = browser(world.keeper).get(f"/trips/{trip.pk}/")
    assert "Back" in item_of(page, "DAY-01")
