"""The page on which a kit is emptied for good."""

import re

import pytest
from django.core.cache import cache

from kits.models import Entry, Holding, Kit
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

PATH = "/kits/DAY-01/empty/"


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_a_kit_is_emptied_line_by_line_and_retired(world: make.World) -> None:
    client = browser(world.keeper)
    assert f'href="{PATH}"' in client.get("/kits/DAY-01/keeping/").content.decode()
    page = client.get(PATH)
    assert "6 × Wound dressing" in text_of(page)
    for ref in re.findall(r'name="line" value="([^"]+)"', page.content.decode()):
        held = Holding.objects.get(lot=ref.split(":")[1], place__kit=world.day_01)
        said = {"line": ref, "units": held.units, "goes": "given", "reason": "to the ski club"}
        assert post(client, PATH, **said).status_code == 302
    page = client.get(PATH)
    assert "given away" in text_of(page)
    assert "This kit is empty" in text_of(page)
    post(client, "/kits/DAY-01/keeping/", do="retire")
    assert Kit.objects.get(name="DAY-01").retired_on is not None


def test_what_is_missing_is_asked_for_with_what_was_said_kept(world: make.World) -> None:
    client = browser(world.keeper)
    ref = f"main:{world.dressings.pk}"
    sold = post(client, PATH, line=ref, units=2, goes="sold", reason="")
    assert (sold.status_code, "Enter who is taking this over" in text_of(sold)) == (400, True)
    nowhere = post(client, PATH, line=ref, units=2, goes="", reason="worn")
    assert "Tap where the item goes" in text_of(nowhere)
    assert 'value="worn"' in nowhere.content.decode()
    odd = post(client, PATH, line="main:x", units=2, goes="training", reason="")
    assert odd.status_code == 404
    assert not Entry.objects.filter(kind="empty").exists()


def test_a_guide_empties_no_kit(world: make.World) -> None:
    assert browser(world.guide).get(PATH).status_code == 403
    assert "Empty this kit" not in text_of(browser(world.guide).get("/kits/DAY-01/keeping/"))
