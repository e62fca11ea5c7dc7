"""The page of what nobody knows the date of."""

import pytest
from django.core.cache import cache

from kits.services.stock import counting
from kits.services.stock.counting import CountLine
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def world() -> make.World:
    world = make.world()
    kit = make.kit("DAY-09", world.version, world.store, entered=False)
    main, rubbed = make.section(kit), make.batch(world.dressing)
    counting.count(make.act(), [main], [CountLine(main, 6, lot=rubbed)], complete=False)
    return world


def test_it_lists_what_to_look_at_and_takes_its_date(world: make.World) -> None:
    client = browser(world.guide)
    assert "1 without an expiry date" in text_of(client.get("/stock/"))
    page = text_of(client.get("/stock/undated/"))
    assert "6 × Wound dressing" in page
    assert "DAY-09 may go out up to and including" in page
    main = make.section(make.Kit.objects.get(name="DAY-09"))
    lot = make.batch(world.dressing)
    said = {"place": main.pk, "lot": lot.pk, "units": 6, "number": "", "printed": "soon"}
    refusal = post(client, "/stock/undated/", **said)
    assert refusal.status_code == 400
    assert "cannot be read as a date" in text_of(refusal)
    post(client, "/stock/undated/", **{**said, "printed": "2031-05"})
    page = text_of(client.get("/stock/undated/"))
    assert "Expiry date recorded for 6 × Wound dressing 10 × 12. Good until 31 May 2031." in page
    assert "Everything here that needs an expiry date has one" in page
    assert make.units(lot, main) == 0


def test_a_stranger_sees_nothing_of_it(world: make.World) -> None:
    assert "DAY-09" not in text_of(browser(world.stranger).get("/stock/undated/"))
