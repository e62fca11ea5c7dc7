"""Kits by day: reservations and times out as bars, and as a list."""

import re
from datetime import UTC, datetime, time

import pytest
from pytest_django import DjangoAssertNumQueries

from kits.services.custody import custody
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE
PAGE = "/trips/kits/"


@pytest.fixture
def world() -> make.World:
    return make.world()


def months_of(first: int, last: int) -> list[str]:
    """The pages of the months that days from today are in."""
    return list({f"{PAGE}?month={make.days(n):%Y-%m}" for n in range(first, last + 1)})


def words_of(world: make.World, first: int = 0, last: int = 0) -> str:
    client = browser(world.keeper)
    return " ".join(text_of(client.get(path)) for path in months_of(first, last))


def test_a_reserved_kit_and_one_that_is_out_are_bars_and_rows(world: make.World) -> None:
    trip = make.trip("Long walk", world.store, 3, 5)
    reservations.reserve(make.act(world.keeper), world.day_01, trip)
    pages = [browser(world.keeper).get(path).content.decode() for path in months_of(3, 5)]
    assert any('class="reserved"' in page for page in pages)
    bar = re.compile(rf'href="/trips/{trip.pk}/"\s+class="reserved"\s+aria-label="([^"]*)"')
    labels = [label for page in pages for label in bar.findall(page)]
    assert len(labels) == len(pages)
    assert all(label.startswith("DAY-01: Long walk, ") for label in labels)
    assert "Reserved" in words_of(world, 3, 5)


def test_what_is_out_runs_until_it_is_due_and_at_least_until_today(world: make.World) -> None:
    due = datetime.combine(make.days(4), time(18), UTC)
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, due_at=due)
    page = browser(world.keeper).get(PAGE)
    assert re.search(r'href="/kits/DAY-01/"\s+class="out"', page.content.decode())
    assert "taken out without a trip" in text_of(page)
    assert world.guide.name not in text_of(page).replace(world.keeper.name, "")


def test_a_kit_of_two_trips_on_a_day_is_marked(world: make.World) -> None:
    first = make.trip("Long walk", world.store, 3, 5)
    second = make.trip("Other walk", world.store, 9, 9)
    for trip in (first, second):
        reservations.reserve(make.act(world.keeper), world.day_01, trip)
    assert words_of(world, 3, 9).count("Double-booked") == len(months_of(3, 9))  # the key alone
    type(second).objects.filter(pk=second.pk).update(first_day=make.days(5))
    assert words_of(world, 3, 9).count("Double-booked") > len(months_of(3, 9))


def test_another_rooms_trip_is_not_named(world: make.World) -> None:
    trip = make.trip("Sump dive", world.hut, 1, 1)
    reservations.reserve(make.act(), world.day_01, trip)
    words = words_of(world, 1, 1)
    assert "Sump dive" not in words and "a trip from another gear room" in words
    assert "DAY-01" not in text_of(browser(world.stranger).get(months_of(1, 1)[0]))


@pytest.mark.parametrize("month", ["2019-02", "", "2199-12"])
def test_a_month_without_anything_says_so(world: make.World, month: str) -> None:
    answer = browser(world.keeper).get(f"{PAGE}?month={month}")
    assert answer.status_code == 200
    assert "No kit is reserved or out in this month." in text_of(answer)


def test_a_senseless_month_and_another_room_are_refused(world: make.World) -> None:
    assert browser(world.keeper).get(f"{PAGE}?month=soon").status_code == 400
    assert browser(world.keeper).get(f"{PAGE}?room=cave-hut").status_code == 404


def test_it_asks_the_database_as_much_for_many_kits_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(8):
        kit = make.kit(f"DAY-1{number}", world.version, world.store)
        trip = make.trip(f"Walk {number}", world.store, 1, 1)
        reservations.reserve(make.act(world.keeper), kit, trip)
    client = browser(world.keeper)
    client.get("/help/")
    with django_assert_max_num_queries(14):
        client.get(PAGE)
