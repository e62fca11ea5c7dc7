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
