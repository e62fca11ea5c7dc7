"""The first day from an empty room, and the hatch by keyboard alone, in a real browser."""

from collections.abc import Callable
from datetime import date
from typing import Any

import cv2
import numpy as np
import pytest
import zxingcpp
from playwright.sync_api import expect

from gearroom.core.models import Person, Room
from kits.models import Checkout, Holding, Kit
from tests.e2e.pages import PASSWORD, chromium, give_password, questions, sign_in
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.program import Server
from tests.waiting import until
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


def test_from_an_empty_installation_to_the_first_kit_out(
    need: Callable[[str], str], open_database: str, make_server: Callable[..., Server]
) -> None:
    program = need("chromium")
    server = make_server().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))

        # The code that was printed makes it one's own.
        page.goto(server.url)
        page.get_by_label("Code").fill(server.manage("claim_code").stdout.strip())
        page.keyboard.press("Enter")
        page.get_by_label("Your name").fill("Kim Reed")
        page.get_by_label("Username").fill("kim")
        password = page.get_by_label("Password, at least")
        password.fill(PASSWORD)
        page.get_by_label("Show the password").check()
        expect(password).to_have_attribute("type", "text")
        page.get_by_label("Show the password").uncheck()
        expect(password).to_have_attribute("type", "password")
        page.get_by_label("Email address").fill("kim@umberfell.example")
        page.get_by_label("Name on labels").fill("Umberfell")
        page.get_by_role("button", name="Set up").click()
        page.get_by_text("Welcome, Kim Reed.").wait_for()

        # The address, tried by another browser; mail, tried by an email.
        page.get_by_label("Web address").fill(server.url)
        page.get_by_role("button", name="Save").click()
        page.get_by_text("No phone has reached this address yet").wait_for()
        symbol = page.locator("img.symbol").screenshot()
        phone = browser.new_context().new_page()
        phone.goto(read_barcodes(symbol))
        phone.get_by_role("button", name="Show this on the settings page").click()
        phone.get_by_text("The settings page now shows this.").wait_for()
        page.get_by_role("link", name="Look again").click()
        page.get_by_text("A phone has reached this address").wait_for()
        page.get_by_role("link", name="Email →").click()
        page.get_by_role("button", name="Save and send the test email").click()
        page.get_by_text("was saved as a file").wait_for()

        # The first kit, as it lies there: a date that may be several days is asked.
        page.get_by_role("link", name="The first kit →").click()
        page.get_by_role("link", name="Count a kit").click()
        rows = (("0", "tape", "2", "0331"), ("1", "gauze", "7", "03/04/31"))
        for row, name, there, expiry in rows:
            page.locator(f"[name=name-{row}]").fill(name)
            page.locator(f"[name=there-{row}]").fill(there)
            page.locator(f"[name=expiry-{row}]").fill(expiry)
        page.get_by_role("button", name="Save the kit").click()
        page.get_by_text("1 row is not complete").wait_for()
        expect(page.locator("[name=expiry-1][maxlength]")).to_be_focused()
        page.get_by_role("link", name="gauze").wait_for()
        page.get_by_label("3 April 2031").check()
        page.get_by_role("button", name="Save the kit").click()
        page.get_by_text("KIT-01 and its contents are on record.").wait_for()
        assert Holding.objects.get(lot__item__name="gauze").lot.expiry == date(2031, 4, 3)

        # Whoever works alone is offered no taking out; then a colleague comes.
        page.get_by_role("link", name="Open the kit").wait_for()
        Person.objects.create(name="Gil", home_room=Room.objects.get())
        page.reload()

        # The first kit out. Nobody has signed its list yet, so it goes with a reason.
        page.get_by_role("link", name="Take it out").click()
        article = page.locator("article", has=page.get_by_role("heading", name="KIT-01"))
        article.get_by_label("Reason for taking the kit out although it is not ready").fill(
            "signed tomorrow"
        )
        article.get_by_label("Who is taking the kit").select_option(label="Kim Reed")
        article.get_by_role("button").last.click()
        page.get_by_text("KIT-01 is out with Kim Reed").wait_for()
        until(Checkout.objects.filter(in_at=None, person__name="Kim Reed").exists, "the kit out")
        assert faults == []


def test_what_was_typed_is_not_left_without_asking(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    program = need("chromium")
    username = give_password(make.world().keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        asked = questions(page)
        sign_in(page, server.url, username)
        path = f"{server.url}/first-day/kit/?from=blank"
        page.goto(path)
        page.goto(f"{server.url}/stock/")
        assert asked == []

        page.goto(path)
        page.locator("[name=name-0]").click()
        page.keyboard.type("tape")
        page.get_by_role("button", name="More rows").click()
        page.locator("[name=name-12]").click()
        assert asked == []
        page.get_by_role("link", name="Start another way").click()
        page.get_by_role("link", name="Use the example").wait_for()
        assert asked == ["beforeunload"]

        page.goto(f"{server.url}/kits/DAY-01/count/")
        page.locator("input[type=number]").first.click()
        page.keyboard.type("3")
        page.goto(f"{server.url}/stock/")
        assert asked == ["beforeunload"] * 2


def read_barcodes(picture: bytes) -> str:
    """The address in a picture of a QR code."""
    image = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_GRAYSCALE)
    (symbol,) = zxingcpp.read_barcodes(image)
    return str(symbol.text)


def test_a_kit_goes_out_and_comes_back_by_keyboard_alone(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    keeper = give_password(world.keeper)
    server = make_web().start()

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
