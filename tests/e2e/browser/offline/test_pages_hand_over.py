"""Acts that wait on a phone reach the book by another, as a file or as codes, each once, in the
name of whoever did them; and what a browser promises to keep."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django import Settings

from kits.models import Entry
from tests.e2e.hatch import Phone, phone
from tests.e2e.pages import chromium, give_password, sign_in
from tests.e2e.pocket import READER_IS_HERE
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
SEEN_MS = 40_000
KEPT = """(kept) => {
  navigator.storage.persist = async () => { globalThis.asked = true; return kept; };
  navigator.storage.persisted = async () => kept && Boolean(globalThis.asked);
}"""
USE_MANY = """async ([item, count]) => {
  for (let number = 0; number < count; number++)
    await gearQueue.add({ kit: number % 2 ? 'DAY-03' : 'DAY-01', kind: 'use', facts: {},
      path: `/api/v1/kits/${number % 2 ? 'DAY-03' : 'DAY-01'}/use/`, says: `Use ${number}`,
      body: { used: [{ item, units: 1 }] } });
}"""
STATES = "gearQueue.acts().then((acts) => acts.map((act) => act.state))"


def away(browser: Browser, url: str, who: str, *, kept: bool = False) -> Page:
    """A phone on which somebody signed in and then lost the network, on the page for that."""
    page = browser.new_context(viewport={"width": 360, "height": 740}).new_page()
    page.add_init_script(f"({KEPT})({json.dumps(kept)})")
    sign_in(page, url, who, "/offline/")
    expect(page.locator("#kits > li").filter(has_text="DAY-01")).to_be_visible(timeout=SEEN_MS)
    page.context.set_offline(True)
    return page


def use_one(page: Page, kit: str = "DAY-01") -> None:
    """Record that a dressing was used."""
    before = page.locator("#acts > li").count()
    page.locator("#kits > li").filter(has_text=kit).get_by_role("button").click()
    card = page.locator(f"article[data-kit={kit}]")
    card.locator("[data-for=use] summary").click()
    card.locator(".tile").filter(has_text="Wound dressing").get_by_role(
        "button", name="one more"
    ).click()
    card.get_by_role("button", name="Used", exact=True).click()
    expect(page.locator("#acts > li[data-state=waits]")).to_have_count(before + 1, timeout=SEEN_MS)


def shared(page: Page, to: Path) -> Path:
    """The file with what waits on a phone."""
    if not page.get_by_role("button", name="Share as a file").is_visible():
        page.locator("#hand-over summary").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="Share as a file").click()
    download.value.save_as(to)
    return to


def taken_in(page: Page, file: Path, says: str) -> None:
    page.locator("#records").set_input_files(file)
    page.get_by_text(says).wait_for(timeout=SEEN_MS)


def uses() -> list[tuple[Any, Any]]:
    """Whose the uses in the book are, and who handed them over."""
    rows = Entry.objects.filter(kind="use").order_by("pk")
    return [(row.person, row.detail.get("handed_over_by")) for row in rows]


def test_a_file_saves_what_waits_on_a_phone_that_is_cleared_and_counts_once(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    tmp_path: Path,
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    keeper, colleague = give_password(world.keeper), give_password(world.instructor)
    server = make_web().start()

    with chromium(program) as browser:
        first = away(browser, server.url, keeper)
        use_one(first)
        expect(first.locator("#kept")).to_contain_text("This browser may delete what is waiting")
        file = shared(first, tmp_path / "records.txt")
        network = first.context.new_cdp_session(first)
        network.send(
            "Storage.clearDataForOrigin", {"origin": server.url, "storageTypes": "indexeddb"}
        )
        first.context.close()

        desk = browser.new_page()
        desk.goto(f"{server.url}/offline/")
        desk.get_by_text("You are logged out.").wait_for(timeout=SEEN_MS)
        taken_in(desk, file, "Log in on this phone first")
        sign_in(desk, server.url, colleague, "/offline/")
        expect(desk.locator("#kits > li").first).to_be_visible(timeout=SEEN_MS)
        taken_in(desk, file, "1 record from another phone will be sent from here.")
        done = desk.locator("#acts > li[data-state=done]")
        expect(done).to_contain_text("Kim, handed over to this phone", timeout=SEEN_MS)
        assert uses() == [(world.keeper, world.instructor.pk)]

        # Taken in twice, here and by whoever did it, it is done once.
        taken_in(desk, file, "These records are here already.")
        own = browser.new_context().new_page()
        sign_in(own, server.url, keeper, "/offline/")
        expect(own.locator("#kits > li").first).to_be_visible(timeout=SEEN_MS)
        taken_in(own, file, "1 record from another phone will be sent from here.")
        expect(own.locator("#acts > li[data-state=done]")).to_be_visible(timeout=SEEN_MS)
        assert len(uses()) == 1
        own.goto(f"{server.url}/kits/DAY-01/history/")
        expect(own.get_by_text("recorded by Kim, handed over by Ines")).to_be_visible()

        # Of what is changed or made up nothing is done.
        act = json.loads(file.read_text())["acts"][0]
        more = {**act, "key": act["key"][:-4] + "beef", "body": {"used": [{"item": 1, "units": 5}]}}
        other = {**act, "key": act["key"][:-4] + "dead", "by": world.stranger.pk}
        file.write_text(json.dumps({"format": "gearroom-records", "acts": [more, other]}))
        taken_in(desk, file, "2 records from another phone will be sent from here.")
        refused = desk.locator("#acts > li[data-state=refused]")
        expect(refused).to_have_count(2, timeout=SEEN_MS)
        expect(refused.first).to_contain_text(
            "Either this record was changed after the other phone passed it on"
        )
        file.write_text(json.dumps({"format": "gearroom-records", "acts": [{**act, "path": "/"}]}))
        taken_in(desk, file, "These are not records from a phone")
        assert len(uses()) == 1


def test_codes_on_one_phone_are_read_by_another_and_the_first_learns_of_it(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    settings: Settings,
) -> None:
    program = need("chromium")
    need("barcode-detector")
    settings.PUBLIC_URL = scanned.ADDRESS
    world = scanned.labelled().world
    scanned.filled("DAY-03", world)
    keeper, colleague = give_password(world.keeper), give_password(world.instructor)
    server = make_web().start()

    with chromium(program) as browser:
        first = away(browser, server.url, keeper, kept=True)
        first.evaluate(USE_MANY, [world.dressing.pk, 6])
        expect(first.locator("#kept")).to_have_text(
            "Your records are kept on this phone until they are sent."
        )
        first.locator("#hand-over summary").click()
        first.get_by_role("button", name="Show codes to scan").click()
        codes = first.locator("#codes svg")
        expect(codes.first).to_be_visible()
        count = codes.count()
        assert count > 1
        expect(codes.first).to_have_attribute("aria-label", f"Code 1 of {count}")

        second: Phone = phone(browser, server.url, colleague, "/offline/")
        expect(second.page.locator("#kits > li").first).to_be_visible(timeout=SEEN_MS)
        second.page.wait_for_function(READER_IS_HERE, timeout=SEEN_MS)
        second.page.context.set_offline(True)
        for number in range(1, count):  # in whatever order
            says = f"{number} of {count} codes scanned."
            second.hold_up(codes.nth(count - number).screenshot(), says)
        second.hold_up(codes.first.screenshot(), "6 records from another phone will be sent")
        assert second.page.evaluate(STATES) == ["waits"] * 6
        assert uses() == []
        second.page.context.set_offline(False)
        done = second.page.locator("#acts > li[data-state=done]")
        expect(done).to_have_count(6, timeout=SEEN_MS)
        assert second.faults == []

        assert first.evaluate(STATES) == ["waits"] * 6
        first.context.set_offline(False)
        expect(first.locator("#acts > li[data-state=done]")).to_have_count(6, timeout=SEEN_MS)

    assert uses() == [(world.keeper, world.instructor.pk)] * 6
    assert make.units(world.dressings, make.section(world.day_01)) == 6 - 3
