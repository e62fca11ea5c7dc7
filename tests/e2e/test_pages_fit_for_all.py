"""Every page for other eyes, hands and screens: axe, 320 px, 200 % text, dark."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.e2e.pages import AXE, chromium, give_password, sign_in
from tests.program import Server
from tests.site.every_page import AT_DAWN, PAGES, address, furnished

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

_RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
_AXE = """(runOnly) => axe.run(document, {runOnly, resultTypes: ['violations']}).then((told) =>
  told.violations.map((each) => `${each.id}: ${each.nodes[0].html.slice(0, 160)}`))"""
_TOO_SMALL = """() => [...document.querySelectorAll(
    'button, .button, input:not([type=hidden], [type=file], .choice *), select, summary, .choice'
  )].filter((e) => e.checkVisibility() && !e.closest('.sr, .skip')).filter((e) => {
    const box = e.getBoundingClientRect();
    return box.height < 47.5 || box.width < 47.5;
  }).map((e) => e.outerHTML.slice(0, 90))"""
_TOO_WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


def test_axe_finds_nothing_and_everything_fits_the_thumb_and_the_screen(
    need: Callable[[str], str],
    open_database: str,
    make_server: Callable[..., Server],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    program = need("chromium")
    need("axe-core")
    world = furnished()
    keeper = give_password(world.keeper)
    server = make_server().start()
    axe = AXE.read_text()
    found: list[str] = []

    def complain(line: Any) -> None:
        if "Security Policy" in line.text:
            found.append(line.text)

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 320, "height": 640}, reduced_motion="reduce")
        page.on("console", complain)
        sign_in(page, server.url, keeper)
        for path in PAGES:
            page.emulate_media(color_scheme="light")
            page.goto(server.url + address(path))
            page.evaluate(axe)
            found += [f"{path}: {each}" for each in page.evaluate(_AXE, _RULES)]
            contrast = "color-contrast-enhanced" if path in AT_DAWN else "color-contrast"
            # By daylight the plain one is among the rules above.
            for scheme in ("light", "dark") if path in AT_DAWN else ("dark",):
                page.emulate_media(color_scheme=scheme)
                faults = page.evaluate(_AXE, {"type": "rule", "values": [contrast]})
                found += [f"{scheme} {path}: {each}" for each in faults]
            found += [f"{path}: under 48 px: {each}" for each in page.evaluate(_TOO_SMALL)]
            if wide := page.evaluate(_TOO_WIDE):
                found.append(f"{path}: {wide} px too wide at 320 px")
            page.set_viewport_size({"width": 640, "height": 640})
            page.evaluate("() => { document.documentElement.style.fontSize = '212.5%' }")
            if wide := page.evaluate(_TOO_WIDE):
                found.append(f"{path}: {wide} px too wide at 200 % text")
            page.set_viewport_size({"width": 320, "height": 640})
        page.goto(f"{server.url}/api/v1/docs/")  # not ours, but it has to work under our policy
        page.locator(".swagger-ui .info").wait_for()

    assert not found, "\n".join(found)
