"""Search everywhere: what is found, in which order, by whom; and what is opened at once."""

import re

import pytest
from pytest_django import DjangoAssertNumQueries

from kits.services.labelling import labelling
from kits.services.overview import search
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


def _names(person: object, typed: str) -> list[str]:
    hits = search.search(make.actor(person), typed)  # type: ignore[arg-type]  # a Person
    return [hit.name for group in hits for hit in group.best]


def test_it_finds_kits_items_batches_people_trips_lists_and_help(world: make.World) -> None:
    make.trip("Ridge walk", world.store, 1, 1)
    client = browser(world.keeper)

    for typed, name in (
        ("dress", "Wound dressing 10 × 12"),
        ("day", "DAY-01"),
        ("ridge", "Ridge walk"),
        (world.guide.name, world.guide.name),
        (world.day_01.list_version.packing_list.name, world.day_01.list_version.packing_list.name),
        ("recalls a batch", "When a maker recalls a batch"),
    ):
        assert name in text_of(client.get("/search/", {"q": typed, "all": "1"})), typed


def test_what_begins_with_it_comes_before_what_has_it_somewhere(world: make.World) -> None:
    for name in ("Big tape", "Scotape", "Tape"):
        make.item(name)

    assert _names(world.keeper, "tap")[:3] == ["Tape", "Big tape", "Scotape"]


def test_case_accents_and_a_slip_are_forgiven(world: make.World) -> None:
    make.item("Crème solaire")

    assert _names(world.keeper, "CREME") == ["Crème solaire"]
    assert _names(world.keeper, "dresing") == ["Wound dressing 10 × 12"]


def test_what_is_named_exactly_is_opened_at_once(world: make.World) -> None:
    client = browser(world.keeper)
    (label,) = labelling.labels_for(make.act(world.keeper), [world.day_01])
    shown = f"{label.code[:4]}-{label.code[4:].lower()}"

    assert client.get("/search/", {"q": "day-01"})["Location"] == "/kits/DAY-01/"
    assert client.get("/search/", {"q": shown})["Location"] == "/kits/DAY-01/"
    batch = client.get("/search/", {"q": "d2"})["Location"]
    assert re.fullmatch(r"/stock/at/\d+/\d+/", batch)
    assert "D2" in text_of(client.get(batch))


def test_nothing_too_short_and_nothing_found_are_answered(world: make.World) -> None:
    client = browser(world.keeper)

    assert "the key / brings you here" in text_of(client.get("/search/"))
    assert "at least two letters" in text_of(client.get("/search/?q=a"))
    assert "Type less of it, or scan the label" in text_of(client.get("/search/?q=zzzz"))
    assert client.get("/search/", {"q": "%_'\"<b>" * 40}).status_code == 200


def test_another_rooms_things_are_not_found(world: make.World) -> None:
    trip = make.trip("Ridge walk", world.store, 1, 1)
    (label,) = labelling.labels_for(make.act(world.keeper), [world.day_01])
    stranger = browser(world.stranger)

    for typed in ("DAY-01", "D1", trip.name, world.guide.name, world.keeper.name):
        answer = stranger.get("/search/", {"q": typed})
        assert answer.status_code == 200, typed
        assert "<li>" not in answer.content.decode().split("<main")[1].split("Help")[0], typed
    assert stranger.get("/search/", {"q": label.code}).status_code == 200


def test_people_are_found_by_those_alone_who_may_see_them(world: make.World) -> None:
    nobody = make.person("Noel Nothing")

    assert world.keeper.name in _names(world.guide, world.keeper.name)
    assert _names(nobody, world.keeper.name) == []


def test_it_asks_as_much_for_much_as_for_little(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(30):
        thing = make.item(f"Dressing {number:02}")
        make.some(thing, world.shelf, 2, f"DR{number}", make.days(100 + number))
    client = browser(world.keeper)

    with django_assert_max_num_queries(20):
        page = text_of(client.get("/search/?q=dressing"))
    assert "There are 23 more" in page
    assert "Show all in the table" in page
