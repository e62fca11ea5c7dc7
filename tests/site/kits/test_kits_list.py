"""The table of kits: what it shows, in which order, and what it can be narrowed to."""

import re

import pytest
from django.db.models.signals import post_init
from pytest_django import DjangoAssertNumQueries

from kits.models import Kit
from kits.services.custody import custody
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


def _names(world: make.World, query: str = "") -> list[str]:
    page = browser(world.keeper).get(f"/kits/?{query}").content.decode()
    return re.findall(r'<th scope="row">\s*<a href="[^"]*">([^<]*)', page)


def test_a_row_says_the_list_the_place_the_next_trip_and_how_it_stands(world: make.World) -> None:
    trip = make.trip("Ridge walk", world.store, 1, 1)
    reservations.reserve(make.act(world.keeper), world.day_01, trip)

    page = text_of(browser(world.keeper).get("/kits/?search=DAY-01"))

    assert re.search(r"DAY-01 .*people, \d+ days? Main store Ridge walk ", page)
    assert "status for" in page


def test_the_table_is_in_order_by_any_column_both_ways(world: make.World) -> None:
    every = _names(world)

    assert every == sorted(every)
    assert _names(world, "sort=-name") == every[::-1]
    for column in ("list", "size", "place", "trip", "expiry", "verdict"):
        assert sorted(_names(world, f"sort={column}")) == every
        assert sorted(_names(world, f"sort=-{column}")) == every


def test_it_is_narrowed_by_where_it_is_what_it_is_for_and_how_it_stands(world: make.World) -> None:
    custody.check_out(make.act(world.guide), world.day_01, person=world.guide)
    every = _names(world)

    assert _names(world, "out=out") == ["DAY-01"]
    assert _names(world, "out=in") == [name for name in every if name != "DAY-01"]
    assert _names(world, f"list={world.day_01.list_version.packing_list_id}") == every
    assert _names(world, "people=9999") == []
    by_word = [_names(world, f"status={word}") for word in ("ready", "low", "short")]
    assert sum(map(len, by_word)) <= len(every)
    assert _names(world, "room=nowhere&list=x&people=x&status=x&out=x&sort=x&page=x") == every


def test_nothing_found_says_what_to_do(world: make.World) -> None:
    page = text_of(browser(world.keeper).get("/kits/?people=9999"))

    assert "No kit matches. Remove a filter" in page
    assert "Show everything" in page


def test_kits_of_other_rooms_are_not_in_it(world: make.World) -> None:
    assert "DAY-01" not in text_of(browser(world.stranger).get("/kits/?sort=verdict"))


def test_it_asks_as_much_for_many_kits_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    client = browser(world.keeper)
    client.get("/kits/")
    for number in range(12):
        make.kit(f"MANY-{number:02}", world.day_01.list_version, world.store)
    for query in ("", "?sort=verdict", "?status=ready"):
        with django_assert_max_num_queries(32):
            assert client.get(f"/kits/{query}").status_code == 200
    assert Kit.objects.count() > 12


@pytest.mark.parametrize(
    ("typed", "names", "most_queries"),
    [("zzz", [], 14), ("zzz&status=ready", [], 14), ("d1", ["DAY-01"], 32)],
)
def test_a_search_reads_and_judges_only_the_kits_that_it_shows(
    world: make.World,
    django_assert_max_num_queries: DjangoAssertNumQueries,
    typed: str,
    names: list[str],
    most_queries: int,
) -> None:
    client = browser(world.keeper)
    client.get("/kits/")
    for number in range(12):
        make.kit(f"MANY-{number:02}", world.day_01.list_version, world.store)
    read: set[str] = set()

    def note(instance: Kit, **_: object) -> None:
        read.add(instance.name)

    post_init.connect(note, sender=Kit)
    try:
        with django_assert_max_num_queries(most_queries):
            client.get(f"/kits/?search={typed}")
    finally:
        post_init.disconnect(note, sender=Kit)
    assert sorted(read) == names == _names(world, f"search={typed}")
