"""Every page for other eyes, hands and screens: axe (WCAG 2.2 AA), 320 px, 200 % text, dark, the
keyboard alone, paper, and the other language. One server and one browser walk through all."""

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.e2e.pages import AXE, chromium, give_password, sign_in
from tests.engines import Engine
from tests.site.every_page import (
    AT_DAWN,
    AT_THE_HATCH,
    BY_LINK,
    PAGES,
    address,
    furnished,
    with_links,
)
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

_TAGS = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
_AXE = """([runOnly, rules]) =>
  axe.run(document, {runOnly, rules, resultTypes: ['violations']}).then((told) =>
    told.violations.map((each) => `${each.id}: ${each.nodes[0].html.slice(0, 160)}`))"""
_TOO_SMALL = """() => [...document.querySelectorAll(
    'button, .button, input:not([type=hidden], [type=file], .choice *), select, summary, .choice'
  )].filter((e) => e.checkVisibility() && !e.closest('.sr, .skip')).filter((e) => {
    const box = e.getBoundingClientRect();
    return box.height < 47.5 || box.width < 47.5;
  }).map((e) => e.outerHTML.slice(0, 90))"""
_TOO_WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
_KEYBOARD = """() => {
  const faults = [];
  const reached = [...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]'
  )].filter((e) => (
    e.checkVisibility({ visibilityProperty: true }) && !e.disabled && e.tabIndex >= 0));
  for (const e of reached) {
    const name = e.outerHTML.slice(0, 90);
    if (e.tabIndex > 0) faults.push(`out of order: ${name}`);
    e.focus({ focusVisible: true });
    if (document.activeElement !== e) {
      faults.push(`cannot be reached: ${name}`);
      continue;
    }
    const ringed = [e, e.closest('label'), document.querySelector(`label[for="${e.id}"]`)].some(
      (each) => each && getComputedStyle(each).outlineStyle !== 'none');
    if (!ringed) faults.push(`no ring: ${name}`);
    const { x, y, width, height } = e.getBoundingClientRect();
    const shown = [0.1, 0.5, 0.9].some((part) => {
      const top = document.elementFromPoint(x + width * part, y + height * part);
      return top && (e.contains(top) || top.contains(e) || top.closest('label')?.control === e);
    });
    if (!shown && width > 1) faults.push(`covered: ${name}`);
  }
  return faults;
}"""
"""What the keyboard cannot reach in order, with a ring around it that nothing covers (WCAG 2.4.3,
2.4.7, 2.4.11)."""
_ON_PAPER = """() => {
  const faults = [];
  const { body, documentElement: page } = document;
  if (page.scrollWidth > page.clientWidth) faults.push(`${page.scrollWidth} px wide`);
  const light = (colour) => colour.match(/[\\d.]+/g).slice(0, 3).every((part) => part > 140);
  const texts = 'body, main, main :is(h1, h2, h3, p, li, td, th, dd, dt)';
  for (const e of document.querySelectorAll(texts)) {
    if (!e.checkVisibility() || !e.textContent.trim()) continue;
    if (light(getComputedStyle(e).color)) faults.push(`pale: ${e.outerHTML.slice(0, 90)}`);
  }
  for (const e of document.querySelectorAll('body > header, .skip, .pocket, .working, .finish'))
    if (e.checkVisibility()) faults.push(`of the screen: ${e.outerHTML.slice(0, 60)}`);
  return faults.slice(0, 3);
}"""
"""What would not be read, or not be wanted, on a printed page; the phone that prints it is dark."""


@dataclass
class Walk:
    """The furnished school, a server over it and a browser; `url` is the server's."""

    browser: Browser
    url: str
    keeper: str

    def page(self, language: str = "en-GB") -> Page:
        """A phone of the narrowest kind, on which nobody is signed in."""
        context = self.browser.new_context(
            viewport={"width": 320, "height": 640}, reduced_motion="reduce", locale=language
        )
        return context.new_page()

    def signed_in(self, language: str = "en-GB") -> Page:
        """The same for the keeper."""
        page = self.page(language)
        sign_in(page, self.url, self.keeper)
        return page

    def shared_device(self) -> Page:
        """A phone at the hatch on which the keeper has said who they are."""
        page = self.page()
        sign_in(page, self.url, self.keeper, "/devices/")
        page.get_by_label("Name").fill("Phone at the hatch")
        page.locator("main form button").first.click()
        page.wait_for_url("**/scan/")
        page.goto(f"{self.url}/hatch/?to=/kits/")
        page.get_by_role("button", name="Kim").first.click()
        page.wait_for_url("**/kits/")
        return page


@pytest.fixture(scope="module")
def walk(
    need: Callable[[str], str],
    _engines: dict[str, Engine],
    django_db_blocker: Any,
) -> Iterator[Walk]:
    """One server and one browser for all."""
    program = need("chromium")
    need("axe-core")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright's loop runs in the test's thread
    engine = _engines["sqlite"]
    url = engine.copy()
    with django_db_blocker.unblock():
        engine.open(url)
        world = furnished()
        with_links(world)
        keeper = give_password(world.keeper)
        server = Web()
        try:
            server.start()
            with chromium(program) as browser:
                yield Walk(browser, server.url, keeper)
        finally:
            server.kill()
            engine.open_home()
            engine.drop(url)
            del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


# ------------------------------------------------------------------------------------- one page
def axe(page: Page, only: dict[str, Any], *, without: Sequence[str] = ()) -> list[str]:
    """What axe finds wrong."""
    rules = {rule: {"enabled": False} for rule in without}
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE.read_text())
    return list(page.evaluate(_AXE, [only, rules]))


def scheme(page: Page, colours: Literal["light", "dark"]) -> None:
    page.emulate_media(color_scheme=colours)


def faults_of(page: Page, path: str) -> Iterator[str]:
    """What is wrong with an open page."""
    scheme(page, "light")
    yield from axe(page, _TAGS)
    contrast = "color-contrast-enhanced" if path in AT_DAWN else "color-contrast"
    # By daylight the plain one is among the rules above.
    for colours in ("light", "dark") if path in AT_DAWN else ("dark",):
        scheme(page, colours)
        for fault in axe(page, {"type": "rule", "values": [contrast]}):
            yield f"{colours}: {fault}"
    yield from (f"under 48 px: {each}" for each in page.evaluate(_TOO_SMALL))
    if wide := page.evaluate(_TOO_WIDE):
        yield f"{wide} px too wide at 320 px"
    yield from page.evaluate(_KEYBOARD)
    page.set_viewport_size({"width": 718, "height": 1000})  # A4 within its margins
    page.emulate_media(media="print", color_scheme="dark")
    yield from (f"on paper: {each}" for each in page.evaluate(_ON_PAPER))
    page.emulate_media(media="screen")
    page.set_viewport_size({"width": 640, "height": 640})
    page.evaluate("() => { document.documentElement.style.fontSize = '212.5%' }")
    if wide := page.evaluate(_TOO_WIDE):
        yield f"{wide} px too wide at 200 % text"
    page.set_viewport_size({"width": 320, "height": 640})


def visit(page: Page, url: str, paths: Sequence[str]) -> list[str]:
    """Go to each page in turn; all that is wrong with any, and what its policy did not allow."""
    found: list[str] = []

    def complain(line: Any) -> None:
        if "Security Policy" in line.text:
            found.append(f"{page.url}: {line.text}")

    page.on("console", complain)
    for path in paths:
        page.goto(url + address(path))
        found += [f"{path}: {each}" for each in faults_of(page, path)]
    return found


# ---------------------------------------------------------------------------------- all of them
def test_every_page_is_fit_for_all(engine: str, walk: Walk) -> None:
    found = visit(walk.signed_in(), walk.url, PAGES)

    assert not found, "\n".join(found)


def test_pages_by_a_link_and_at_the_hatch_are_fit_for_all(engine: str, walk: Walk) -> None:
    found = visit(walk.page(), walk.url, BY_LINK)
    found += visit(walk.shared_device(), walk.url, AT_THE_HATCH)

    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "every", [pytest.param(1, marks=pytest.mark.long), 8], ids=["every page", "every eighth"]
)
def test_in_the_other_language_pages_are_as_fit(engine: str, walk: Walk, every: int) -> None:
    found = []
    for page, paths in ((walk.signed_in("de-DE"), PAGES), (walk.page("de-DE"), BY_LINK)):
        for path in paths[::every]:
            page.goto(walk.url + address(path))
            # Colours do not follow the language.
            faults = axe(page, _TAGS, without=["color-contrast"])
            faults += page.evaluate(_TOO_SMALL)
            if wide := page.evaluate(_TOO_WIDE):
                faults.append(f"{wide} px too wide at 320 px")
            if page.evaluate("document.documentElement.lang") != "de":
                faults.append("not in German")
            found += [f"{path}: {each}" for each in faults]

    assert not found, "\n".join(found)


def test_by_the_keyboard_one_skips_the_menu_and_closes_what_one_opened(
    engine: str, walk: Walk
) -> None:
    page = walk.signed_in()
    page.goto(f"{walk.url}/kits/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#main")).to_be_focused()
    menu = page.locator("details.who summary")
    menu.focus()
    page.keyboard.press("Enter")
    expect(page.locator("details.who")).to_have_attribute("open", "")
    page.keyboard.press("Tab")
    page.keyboard.press("Escape")
    expect(page.locator("details.who")).not_to_have_attribute("open", "")
    expect(menu).to_be_focused()


def test_the_page_of_the_api_works_under_our_policy(engine: str, walk: Walk) -> None:
    page = walk.signed_in()
    page.goto(f"{walk.url}/api/v1/docs/")  # not ours
    page.locator(".swagger-ui .info").wait_for()
