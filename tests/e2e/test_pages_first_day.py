"""The first day from an empty room, and the hatch by keyboard alone, in a real browser."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from gearroom.core.models import User
from kits.models import Checkout, Holding, Kit
from tests.e2e.pages import chromium, give_password, sign_in
from tests.e2e.postroom import until
from tests.labels.scan import scanned
from tests.program import Server

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture(autouse=True)
def _database_beside_the_browser(monkeypatch: pytest.MonkeyPatch) -> None:
    """Playwright's loop runs in the test's thread, which Django otherwise takes for async code."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


ROWS: dict[str, list[Any]] = {
    "Shelves": [["A1"]],
    "Items": [["gauze swab", "consumable", "swab", "yes", "yes"]],
    "Kit lists": [["Day kit", 10, 1, "Main", "gauze swab", 10, 5, "must-have", "used most"]],
    "Kits": [["DAY-01", "Day kit"]],
}


def test_from_an_empty_room_to_the_first_kit_out(
    need: Callable[[str], str],
    open_database: str,
    make_server: Callable[..., Server],
    tmp_path: Path,
) -> None:
    program = need("chromium")
    first = User.objects.create_superuser("ada")
    username = give_password(first.person)
    server = make_server().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        sign_in(page, server.url, username, "/first-day/")

        # The room.
        page.get_by_role("link", name="Add a gear room").click()
        page.get_by_label("Name").first.fill("Main store")
        page.get_by_label("How to return a kit").fill("Bring it to the red door.")
        page.get_by_role("button", name="Add").last.click()

        # Things, a list and a kit, by the workbook that the page gives.
        page.goto(server.url + "/first-day/")
        page.get_by_text("Next: Shelves.").wait_for()
        page.get_by_role("link", name="Enter everything in one spreadsheet").click()
        with page.expect_download() as got:
            page.get_by_role("link", name="Download").click()
        book = load_workbook(io.BytesIO(got.value.path().read_bytes()))
        for name, lines in ROWS.items():
            for line in lines:
                book[name].append(line)
        filled = tmp_path / "gear-room.xlsx"
        book.save(filled)
        page.set_input_files("#workbook", filled)
        page.get_by_role("button", name="Check now").click()
        page.get_by_text("No mistakes found").wait_for()
        page.get_by_role("button", name="Add everything").click()
        page.get_by_text("Added: 1 shelves, 1 items, 1 kit lists, 1 kits").wait_for()

        # What is in the kit, counted as it stands.
        page.get_by_role("link", name="Count DAY-01").click()
        page.get_by_label("How many").first.fill("7")
        page.get_by_label("LOT").first.fill("k77")
        page.get_by_label("Expiry date").first.fill("05/2031")
        page.get_by_role("button", name="Compare with the record").click()
        page.get_by_text("7 found, 0 on record").wait_for()
        page.get_by_role("button", name="Save the count").click()
        page.get_by_text("DAY-01 has been counted").wait_for()

        # Whoever works alone is not shown how a kit goes out, unless they want to see everything.
        page.goto(server.url + "/")
        page.get_by_role("link", name="Restocked").wait_for()
        page.goto(server.url + "/settings/")
        page.get_by_role("button", name="Show everything").click()
        page.get_by_text("Pages show everything.").first.wait_for()

        # The first kit out. Nobody has signed its list yet, so it goes with a reason.
        page.goto(server.url + "/first-day/")
        page.get_by_role("link", name="Take it out").click()
        article = page.locator("article", has=page.get_by_role("heading", name="DAY-01"))
        article.get_by_label("Reason for taking the kit out incomplete").fill("signed tomorrow")
        article.get_by_label("Who is taking the kit").select_option(label="ada")
        article.get_by_role("button").last.click()
        page.get_by_text("DAY-01 is out with ada").wait_for()

        until(Checkout.objects.filter(in_at=None, person=first.person).exists, "the kit out")
        assert Holding.objects.get(lot__number="K77").units == 7
        page.goto(server.url + "/first-day/")
        page.get_by_text("1 taken out").wait_for()
        assert faults == []


def test_a_kit_goes_out_and_comes_back_by_keyboard_alone(
    need: Callable[[str], str], open_database: str, make_server: Callable[..., Server]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    keeper = give_password(world.keeper)
    server = make_server().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 800})

        def go_to(name: str, role: Any) -> None:
            """Tab until the focus is on what has this name, and see that it shows."""
            wanted = page.get_by_role(role, name=name)
            wanted.first.wait_for()
            for _ in range(80):
                page.keyboard.press("Tab")
                here = page.evaluate_handle("document.activeElement")
                if any(here.evaluate("(e, o) => e === o", each.element_handle())
                       for each in wanted.all()):  # fmt: skip
                    width = here.evaluate("e => getComputedStyle(e).outlineWidth")
                    assert width not in ("", "0px"), f"no focus is seen on {name}"
                    return
            raise AssertionError(f"{name} is not reached by Tab")

        page.goto(f"{server.url}/sign-in/")
        go_to("Username", "textbox")
        page.keyboard.type(keeper)
        page.keyboard.press("Tab")
        page.keyboard.type("wet ropes hang to dry")
        page.keyboard.press("Enter")
        page.wait_for_url(f"{server.url}/")

        page.keyboard.press("Tab")  # past what stands on every page
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "main"
        page.goto(server.url)
        go_to("Scan", "link")
        page.keyboard.press("Enter")
        page.wait_for_url(f"{server.url}/scan/")

        go_to("Code, kit name or USB scanner", "textbox")
        page.keyboard.type("DAY-01")
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="DAY-01").wait_for()
        go_to("Who is taking the kit (or scan their tag)", "combobox")
        page.keyboard.type("Gil")
        go_to("Take it out", "button")
        page.keyboard.press("Enter")
        page.get_by_text("DAY-01 is out with Gil").wait_for()

        go_to("Code, kit name or USB scanner", "textbox")
        page.keyboard.type("DAY-01")
        page.keyboard.press("Enter")
        go_to("Sort later", "button")
        page.keyboard.press("Enter")
        page.get_by_text("DAY-01 is back").wait_for()

        until(
            lambda: Kit.objects.get(name="DAY-01").to_sort_since is not None,
            "the kit handed back, to sort later",
        )
        assert not Checkout.objects.filter(in_at=None).exists()
