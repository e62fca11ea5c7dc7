"""No page is forgotten: each address of the pages that can be read is among those that tests walk
through, or says here why it is none."""

import re

import pytest
from django.urls import resolve

from gearroom.site.web.urls import urlpatterns
from tests.site.browsing import browser
from tests.site.every_page import PAGES, SIGNED_OUT, address, furnished
from tests.site.page.test_reading_writes_nothing import filled

NO_PAGES = {}


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_every_address_that_can_be_read_is_walked_or_says_why_not(open_database: str) -> None:
    world = furnished()
    walked = {
        resolve(address(path).partition("?")[0]).url_name
        for path in (*PAGES, *SIGNED_OUT)
        if path != "/nowhere/"
    }
    client = browser(world.keeper)
    values = {"kit": ["DAY-01"], "room": [world.store.slug], "shelf": [world.shelf.pk]}
    forgotten = []
    for each in urlpatterns:
        if each.name in walked or each.name in NO_PAGES:
            continue
        route = re.sub(r"^\^|/?\??\$$", "", str(each.pattern))
        names = re.findall(r"<(?:\w+:)?(\w+)>", route)
        path = next(iter(filled(route, names, values)))
        answer = client.get(path)
        if answer.status_code != 405:
            forgotten.append((each.name, path, answer.status_code, answer.headers.get("Content-Type", "")))
    print(*forgotten, sep="\n")
    assert not forgotten
