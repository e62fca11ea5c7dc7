"""No page is forgotten: each address that can be read is among those that tests walk through, or
is listed as one that shows no page of its own."""

import re

import pytest
from django.urls import resolve

from gearroom.site.web.urls import urlpatterns
from tests.site.browsing import browser
from tests.site.every_page import (
    AT_THE_HATCH,
    AT_THE_START,
    BY_LINK,
    NO_PAGES,
    PAGES,
    address,
    furnished,
    with_links,
)
from tests.site.page.test_reading_writes_nothing import filled


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_every_address_that_can_be_read_is_walked_or_is_no_page(open_database: str) -> None:
    world = furnished()
    with_links(world)
    listed = (*PAGES, *BY_LINK, *AT_THE_HATCH, *AT_THE_START)
    paths = (address(path).partition("?")[0] for path in listed)
    walked = {resolve(path).url_name for path in paths if path != "/nowhere/"}
    client = browser(world.keeper)
    forgotten = []
    for each in urlpatterns:
        if each.name in walked | set(NO_PAGES):
            continue
        route = re.sub(r"^\^|/?\??\$$", "", str(each.pattern))
        names = re.findall(r"<(?:\w+:)?(\w+)>", route)
        path = next(iter(filled(route, names, {"kit": ["DAY-01"], "room": ["main-store"]})))
        if client.get(path).status_code != 405:
            forgotten.append(f"{each.name}: {path}")

    assert not forgotten, "add to tests/site/every_page.py: " + ", ".join(forgotten)
    assert not walked & set(NO_PAGES)


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_pages_that_are_reached_by_a_link_need_no_login(open_database: str) -> None:
    with_links(furnished())
    for path in BY_LINK:
        assert browser().get(address(path), follow=True).status_code == 200, path
