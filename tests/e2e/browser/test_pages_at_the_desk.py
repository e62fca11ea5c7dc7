"""What every page has at the desk: a key for the search, word that work is under way, a camera that
is a button until somebody wants it, and what is seldom needed folded away."""

import time
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from kits.services.restocking import sealing, sorting
from tests.e2e.pages import chromium, give_password, sign_in
from tests.kits import factories as make
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
SAW_PROGRESS = """new MutationObserver(() => {
  if (document.querySelector('#working progress')) sessionStorage.saw = 'progress';
}).observe(document.getElementById('working'), { childList: true })"""
SLOW_S = 1.5
"""So long a server takes for an answer: longer than the moment after which pages say so."""
WIDE = {"width": 1280, "height": 800}


def test_a_key_searches_work_is_shown_seals_are_folded_and_no_camera_box_is_empty(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = make.world()
    sorting.restock(make.act(world.keeper), world.day_01)
    sealing.reseal(make.act(world.keeper), make.fresh(world.day_01), "0417", anyway=True)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport=WIDE, service_workers="block")  # type: ignore[arg-type]  # a size
        sign_in(page, server.url, keeper, "/kits/DAY-01/")

        seals = page.locator("details").filter(has=page.locator("summary", has_text="Seals"))
        expect(seals).to_have_count(1)
        expect(seals.locator("> :not(summary)").first).to_be_hidden()
        page.get_by_text("Seals", exact=True).click()
        expect(seals.locator("> :not(summary)").first).to_be_visible()

        _slow_pages_say_so(page)
        _the_key_searches(page, server.url)

        page.goto(f"{server.url}/scan/")
        expect(page.locator("video")).to_be_hidden()
        expect(page.locator("#camera .switch")).to_be_visible()


def _slow_pages_say_so(page: Page) -> None:
    def slowly(route: Route) -> None:
        time.sleep(SLOW_S)
        route.continue_()

    page.evaluate(SAW_PROGRESS)
    page.route("**/kits/", slowly)
    page.locator("nav").get_by_role("link", name="Kits", exact=True).click()
    page.wait_for_url("**/kits/")
    page.unroute("**/kits/")
    assert page.evaluate("sessionStorage.saw") == "progress"
    expect(page.locator("#working progress")).to_have_count(0)


def _the_key_searches(page: Page, url: str) -> None:
    page.keyboard.press("/")
    page.wait_for_url("**/search/")
    page.locator("#q").fill("DAY")
    page.keyboard.press("/")  # typed, not a command
    expect(page.locator("#q")).to_have_value("DAY/")
    page.locator("#q").blur()
    page.keyboard.press("/")
    expect(page.locator("#q")).to_be_focused()
    expect(page.locator("#q")).to_have_value("DAY/")
    page.goto(f"{url}/kits/")
