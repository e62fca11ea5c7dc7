"""A kit list as a table in a browser: by keyboard, by drag, pasted, and not left unsaved."""

from collections.abc import Callable

import pytest

from kits.models import PackingListVersion
from kits.services.lists import drafts
from tests.e2e.pages import chromium, give_password, questions, sign_in
from tests.kits import factories as make
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

_PASTE = """(text) => {
  const clipboardData = new DataTransfer();
  clipboardData.setData('text/plain', text);
  document.activeElement.dispatchEvent(
    new ClipboardEvent('paste', {clipboardData, bubbles: true, cancelable: true}));
}"""
_ORDER = """() => [...document.querySelectorAll('tbody.group')].map((group) =>
  [...group.querySelectorAll('tr.line:not(.gone) [name^="item-"]')].map((each) => each.value))"""
_SAVE = "Save the draft"


def items(version: PackingListVersion) -> list[list[tuple[str, int]]]:
    return [
        [(line.item.name, line.carry) for line in section.lines.all()]
        for section in version.sections.all()
    ]


def test_a_list_is_edited_by_keyboard_and_by_drag_and_saved_once(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    program = need("chromium")
    world = make.world()
    draft = drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    username = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 1000})
        asked = questions(page)
        sign_in(page, server.url, username)
        path = f"{server.url}/lists/{draft.packing_list_id}/{draft.number}/edit/"
        page.goto(path)

        # Enter after the last row adds one; Alt and an arrow move it.
        page.locator("[name^='reason-']").nth(2).focus()
        page.keyboard.press("Enter")
        page.keyboard.type("Pressure gauge")
        page.keyboard.press("Tab")
        page.keyboard.type("2")
        page.keyboard.press("Alt+ArrowUp")
        assert page.evaluate(_ORDER)[0][2:] == ["Pressure gauge", "Plasters"]
        assert page.inner_text(".unsaved") == "Pressure gauge is now number 3 in Main."

        page.locator("tr.line .grip").nth(1).drag_to(page.locator("tr.line").nth(4))
        assert page.evaluate(_ORDER)[1] == ["Shears", "Pain tablets"]
        page.locator("tr.line [data-do='remove']").nth(0).click()
        page.keyboard.press("Enter")
        page.locator("tr.line [data-do='remove']").nth(4).click()
        assert page.evaluate(_ORDER)[1] == ["Shears"]

        page.goto(f"{server.url}/lists/")
        assert asked == ["beforeunload"]
        page.goto(path)
        page.locator("[name^='item-']").nth(0).focus()
        page.evaluate(_PASTE, "Pouch\t\nShears\t3\t1\tmust-have")
        page.wait_for_selector("[value='Pouch']")
        page.locator("tr.line [data-do='remove']").nth(0).click()
        page.click(f"text={_SAVE}")
        page.wait_for_selector(".done")

    assert items(draft) == [
        [("Shears", 1), ("Plasters", 1)],
        [("Pain tablets", 8), ("Shears", 3)],
    ]


@pytest.mark.parametrize("width", [360, 820])
def test_a_row_is_dragged_by_a_finger_and_put_back_where_the_drag_is_broken_off(
    width: int,
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    program = need("chromium")
    world = make.world()
    draft = drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    username = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        phone = browser.new_context(
            viewport={"width": width, "height": 900}, has_touch=True, is_mobile=True
        )
        page = phone.new_page()
        sign_in(page, server.url, username)
        page.goto(f"{server.url}/lists/{draft.packing_list_id}/{draft.number}/edit/")
        finger = phone.new_cdp_session(page)

        def touch(kind: str, *at: float) -> None:
            points = [{"x": at[0], "y": at[1]}] if at else []
            finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        def drag(number: int, to: str, end: str) -> None:
            """Drag a row by its grip onto another one, a little at a time."""
            grip = page.locator("tr.line .grip").nth(number)
            grip.scroll_into_view_if_needed()
            start = grip.bounding_box()
            assert start is not None and start["width"] >= 40 and start["height"] >= 44
            x, y = start["x"] + start["width"] / 2, start["y"] + start["height"] / 2
            touch("touchStart", x, y)
            for _step in range(200):
                goal = page.locator(to).bounding_box()
                assert goal is not None
                left = goal["y"] + 8 - y
                if abs(left) < 4 and page.locator("tr.target").count():
                    break
                y = min(890, y + max(-40, min(40, left)))
                touch("touchMove", x, y)
                page.wait_for_timeout(20)
            assert page.locator("tr.target").count() == 1
            touch(end)

        before = page.evaluate(_ORDER)
        drag(0, "tr.line >> nth=2", "touchCancel")
        assert page.evaluate(_ORDER) == before
        drag(2, "tr.line >> nth=0", "touchEnd")
        first, second, third = before[0]
        assert page.evaluate(_ORDER)[0] == [third, first, second]
        assert page.locator(".dragged, .target").count() == 0
        page.click(f"text={_SAVE}")
        page.wait_for_selector(".done")

    assert [name for name, _carry in items(draft)[0]] == [third, first, second]
