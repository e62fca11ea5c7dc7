"""A training kit out to a class and back, one tap each."""

from collections.abc import Callable

import pytest
from playwright.sync_api import expect

from kits.models import Checkout
from kits.services.restocking import sorting
from kits.services.restocking.sorting import PutIn
from tests.e2e.pages import chromium, give_password, sign_in
from tests.kits import factories as make
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
MARK = "Training: not for emergencies"


def test_one_tap_out_and_one_tap_back(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = make.world()
    kit = make.kit("TRAIN-1", world.version, world.store, training=True)
    extra = [PutIn(world.lots["d2"], world.upper, make.section(kit), 3)]
    sorting.restock(make.act(world.keeper), kit, as_listed=False, extra=extra)
    guide = give_password(world.guide)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 800})
        sign_in(page, server.url, guide, "/kits/TRAIN-1/")
        expect(page.get_by_text(MARK)).to_be_visible()
        page.get_by_role("button", name="Take it out for a class").click()
        expect(page.get_by_text("For classes only, not for emergencies.")).to_be_visible()
        assert Checkout.objects.open().get().person == world.guide

        page.goto(f"{server.url}/kits/TRAIN-1/")
        page.get_by_role("button", name="Nothing used up").click()
        expect(page.get_by_text("TRAIN-1 is back: closed, nothing used.")).to_be_visible()
        assert not Checkout.objects.open().exists()
