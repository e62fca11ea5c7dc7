"""A season as bars in a browser: moved by mouse, finger and keyboard, and reserved as shown."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from kits.models import Kit, Reservation
from kits.services.trips import reservations
from tests.e2e.pages import chromium, give_password, sign_in
from tests.kits import factories as make
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
TICKED = """() => [...document.querySelectorAll('.season-form [type=checkbox]:checked')]
  .map((each) => each.name + ' ' + each.value).sort()"""
PLACED = """() => Object.fromEntries([...document.querySelectorAll('.rows a')]
  .map((each) => [each.dataset.name, each.dataset.kit]))"""


def middle(page: Page, selector: str) -> tuple[float, float]:
    box: Any = page.locator(selector).bounding_box()
    return box["x"] + min(box["width"], 60) / 2, box["y"] + box["height"] / 2


def drag(page: Page, name: str, kit: str) -> None:
    x, y = middle(page, f'.rows a[data-name="{name}"] rect')
    _, to = middle(page, f'.place[data-kit="{kit}"]')
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, (y + to) / 2)
    page.mouse.move(x, to)
    page.wait_for_timeout(60)  # the picture follows once a frame
    page.mouse.up()


def drag_by_finger(page: Page, name: str, kit: str) -> None:
    x, y = middle(page, f'.rows a[data-name="{name}"] rect')
    _, to = middle(page, f'.place[data-kit="{kit}"]')
    finger = page.context.new_cdp_session(page)
    for n in range(11):
        finger.send(
            "Input.dispatchTouchEvent",
            {
                "type": "touchMove" if n else "touchStart",
                "touchPoints": [{"x": x, "y": y + (to - y) * n / 10}],
            },
        )
    page.wait_for_timeout(60)  # the picture follows once a frame
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def test_bars_are_moved_and_reserved_as_they_stand(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    program = need("chromium")
    world = make.world()
    make.some(world.dressing, world.shelf, 20, "D9", make.days(500))
    make.kit("DAY-09", world.version, world.store)
    moor, ridge = make.trip("Moor", world.store, 3, 3), make.trip("Ridge", world.store, 3, 3)
    fell = make.trip("Fell", world.store, 7, 7)
    reservations.reserve(make.act(world.keeper), Kit.objects.get(name="DAY-09"), fell)
    username = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        context = browser.new_context(viewport={"width": 1280, "height": 1000}, has_touch=True)
        page = context.new_page()
        wrong: list[str] = []
        page.on("pageerror", lambda error: wrong.append(str(error)))
        sign_in(page, server.url, username, "/trips/season/")
        says = page.locator(".says")
        placed = page.evaluate(PLACED)
        assert placed["Fell"] == "DAY-09"
        other = placed["Ridge"]
        (free,) = {"DAY-01", "DAY-02", "DAY-09"} - {placed["Moor"], other}

        # A kit that is away then takes no other bar; one that is free does.
        drag(page, "Moor", other)
        expect(says).to_contain_text(f"Not possible: Moor with {other}. It goes with Ridge")
        drag(page, "Moor", free)
        expect(says).to_have_text(
            f"Moor goes with {free}. Nothing is reserved until you press the button."
        )
        assert f"reserve {moor.pk}:{free}" in page.evaluate(TICKED)
        assert f"reserve {moor.pk}:{placed['Moor']}" not in page.evaluate(TICKED)
        assert not Reservation.objects.promised().exclude(trip=fell).exists()

        # By keyboard: Escape takes it back, Enter puts it there; what is reserved stays.
        bar = page.locator('.rows a[data-name="Ridge"]')
        bar.focus()
        page.keyboard.press("ArrowUp")
        page.keyboard.press("Escape")
        expect(says).to_have_text(f"Ridge stays with {other}.")
        while page.evaluate(PLACED)["Ridge"]:
            page.keyboard.press("ArrowUp")
            if says.inner_text() == "Ridge without a kit":
                page.keyboard.press("Enter")
        assert f"reserve {ridge.pk}:{other}" not in page.evaluate(TICKED)
        page.locator('.rows a[data-name="Fell"]').focus()
        page.keyboard.press("ArrowDown")
        expect(says).to_contain_text("Fell with DAY-09 cannot be moved here")

        # A tick in the list moves the bar; a finger drags what it tapped.
        page.check(f'[value="{ridge.pk}:{other}"]')
        assert page.evaluate(PLACED)["Ridge"] == other
        page.locator('.rows a[data-name="Ridge"] rect').tap()
        expect(says).to_contain_text(f"Ridge with {other}: ")
        drag_by_finger(page, "Ridge", placed["Moor"])
        expect(says).to_contain_text(f"Ridge goes with {placed['Moor']}.")
        drag_by_finger(page, "Ridge", other)
        expect(says).to_contain_text(f"Ridge goes with {other}.")

        page.click("text=Reserve the chosen kits")
        page.get_by_text("2 kits reserved.").wait_for()
        assert dict(Reservation.objects.promised().values_list("trip__name", "kit__name")) == {
            "Moor": free,
            "Ridge": other,
            "Fell": "DAY-09",
        }

        # Where reserved kits may change, their bars move too: released and reserved in one.
        page.goto(f"{server.url}/trips/season/?changes=1")
        drag(page, "Fell", "DAY-02")
        assert page.evaluate(TICKED) == [f"release {fell.pk}:DAY-09", f"reserve {fell.pk}:DAY-02"]
        drag(page, "Fell", "DAY-09")
        assert page.evaluate(TICKED) == []
        drag(page, "Fell", "DAY-02")
        page.click("text=Reserve the chosen kits")
        page.get_by_text("1 reservation released.").wait_for()
        assert Reservation.objects.promised().get(trip=fell).kit.name == "DAY-02"
        assert wrong == []
