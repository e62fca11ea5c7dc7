"""A tap does what was tapped, once, whatever the page draws anew meanwhile."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from kits.models import Checkout
from kits.services.trips import reservations
from tests.e2e.pages import chromium, give_password, sign_in
from tests.e2e.pocket import SEEN_MS
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.waiting import until
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
NEWS = """async () => {
  new BroadcastChannel('gearroom-queue').postMessage('changed');
  for (let turn = 0; turn < 5; turn += 1) await gearQueue.acts();
}"""
"""Have the page without a network draw its lists anew, and wait until it could have."""

SLOW_TO_PROMISE = """
  const worker = navigator.serviceWorker.getRegistration.bind(navigator.serviceWorker);
  globalThis.promised = 0;
  navigator.serviceWorker.getRegistration = async () => {
    await new Promise((goOn) => setTimeout(goOn, 1500));
    globalThis.promised += 1;
    return worker();
  };"""
"""A browser that takes its time to promise that it sends what waits."""


def put_finger_on(page: Page, what: Locator) -> None:
    """Press something without letting go."""
    what.hover()
    page.mouse.down()


def test_without_a_network_a_tap_is_not_lost_and_not_done_twice(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    scanned.filled("DAY-03", world)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        page.add_init_script(SLOW_TO_PROMISE)
        sign_in(page, server.url, keeper, "/offline/")
        row = page.locator("#kits > li").filter(has_text="DAY-01").get_by_role("button")
        expect(row).to_be_visible(timeout=SEEN_MS)
        page.context.set_offline(True)

        # The kits are drawn anew while a finger is on one of them.
        card = page.locator("article[data-kit=DAY-01]")
        put_finger_on(page, row)
        page.evaluate(NEWS)
        page.mouse.up()
        expect(card).to_be_visible()

        # Pressed twice, as fast as fingers can.
        card.get_by_label("Who is taking the kit").select_option("Gil")
        card.get_by_role("button", name="Taken out by Gil").dblclick()
        done = page.locator("#acts > li")
        expect(done).to_have_count(1)
        expect(done).to_contain_text("DAY-01: taken out by Gil.")
        until(lambda: page.evaluate("promised >= 1"), "the browser’s promise")
        expect(done).to_have_count(1)

        # What is opened as soon as the page says that it is recorded stays open.
        card.get_by_text("Something was used").click()
        tile = card.locator(".tile").filter(has_text="Wound dressing")
        tile.get_by_role("button", name="one more").click()
        card.get_by_role("button", name="Used", exact=True).click()
        expect(done).to_have_count(2)
        card.get_by_text("Borrowed from another kit").click()
        until(lambda: page.evaluate("promised >= 2"), "the browser’s promise")
        expect(card.get_by_label("From which kit")).to_be_visible()


def test_a_tap_on_what_the_camera_replaces_meanwhile_is_not_lost(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    trip = make.trip("Gorge", world.store, first=0, last=0, leader=world.guide)
    reservations.reserve(make.act(world.keeper), world.day_01, trip)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        # What goes through a service worker cannot be held back here.
        page = browser.new_page(viewport={"width": 360, "height": 740}, service_workers="block")
        sign_in(page, server.url, keeper, "/scan/")
        page.locator("#text").fill("DAY-01")
        page.keyboard.press("Enter")
        take = page.locator("#answer article").get_by_role("button").first
        expect(take).to_be_visible()
        held: list[Route] = []
        page.route("**/scan/", lambda route: held.append(route))
        page.locator("#text").fill("DAY-02")
        page.keyboard.press("Enter")
        until(lambda: page.evaluate("1") and held, "the next kit’s question")
        answer = held[0].fetch()
        put_finger_on(page, take)
        held[0].fulfill(response=answer)
        page.unroute("**/scan/")
        page.evaluate("new Promise((drawn) => setTimeout(drawn, 200))")
        page.mouse.up()
        expect(page.locator(".ledger")).to_contain_text("DAY-01")
        assert Checkout.objects.get(in_at=None).kit == world.day_01
