"""Forms and addresses that nobody makes by hand: each gets a sentence, none breaks a page."""

import pytest

from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

FAR = "9" * 23
"""More than any id."""


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_nothing_is_at_an_address_with_a_nul(world: make.World) -> None:
    assert browser(world.keeper).get("/kits/a%00b/").status_code == 404


@pytest.mark.parametrize("path", ["/kits/?search=a%00b", "/trips/?room=%00"])
def test_a_nul_in_a_search_is_refused_with_a_sentence(world: make.World, path: str) -> None:
    answer = browser(world.keeper).get(path)

    assert answer.status_code == 400
    assert "a character that cannot be saved" in text_of(answer)


@pytest.mark.parametrize("path", ["/sign-in/", "/lists/", "/scan/", "/kits/DAY-01/withhold/"])
def test_a_nul_in_a_form_is_refused_before_anything_is_done(world: make.World, path: str) -> None:
    said = dict.fromkeys(("username", "password", "name", "text", "kind", "note"), "a\0b")

    answer = post(browser(world.keeper), path, **said)

    assert answer.status_code == 400
    assert "a character that cannot be saved" in text_of(answer)


@pytest.mark.parametrize(
    "path",
    [
        f"/lists/{FAR}/",
        f"/lists/{FAR}/1/",
        f"/lists/1/{FAR}/",
        f"/trips/{FAR}/",
        f"/kits/DAY-02/strip/?item={FAR}",
    ],
)
def test_an_id_that_is_too_large_is_not_there(world: make.World, path: str) -> None:
    assert browser(world.keeper).get(path).status_code == 404


@pytest.mark.parametrize("field", ["departs_at", "returns_at"])
def test_a_time_at_the_end_of_all_calendars_is_no_time(world: make.World, field: str) -> None:
    said = {"name": "Walk", "people": "3", "room": world.store.slug}
    times = {"departs_at": "2031-05-01T08:00", "returns_at": "2031-05-01T17:00"}

    for odd in ("9999-12-31T23:59-12:00", "0001-01-01T00:00+14:00"):
        answer = post(browser(world.keeper), "/trips/add/", **said, **{**times, field: odd})

        assert answer.status_code == 400
        assert "enter a date and a time" in text_of(answer)
