"""A phone at the hatch: a browser whose camera sees the labels that a test holds up, and whose taps
are counted."""

import base64
from collections.abc import Callable
from dataclasses import dataclass, field

import zxingcpp
from playwright.sync_api import Browser, Locator, Page, ViewportSize

from tests.e2e.pages import sign_in
from tests.labels.scan import scanned

PHONE: ViewportSize = {"width": 360, "height": 740}

_CAMERA = """
(() => {
  const wall = document.createElement('canvas');
  [wall.width, wall.height] = [1280, 720];
  const paint = wall.getContext('2d');
  let card = null, turn = 0;
  setInterval(() => {
    turn += 0.02;
    paint.setTransform(1, 0, 0, 1, 0, 0);
    paint.fillStyle = `hsl(40 8% ${58 + 2 * Math.sin(turn)}%)`;
    paint.fillRect(0, 0, wall.width, wall.height);
    if (!card) return;
    paint.translate(wall.width / 2 + 20 * Math.sin(turn), wall.height / 2);
    paint.rotate(0.1 * Math.cos(turn));
    const wide = 520, high = wide * card.height / card.width;
    paint.drawImage(card, -wide / 2, -high / 2, wide, high);
  }, 60);
  window.holdUp = async (png) => {
    card = png ? await createImageBitmap(await (await fetch(png)).blob()) : null;
  };
  navigator.mediaDevices.getUserMedia = async () => wall.captureStream(15);
})();
"""
"""A camera that sees a wall, and the card held up before it, never quite still."""

COUNT_STREAMS = """
const give = navigator.mediaDevices.getUserMedia;
window.streams = [];
navigator.mediaDevices.getUserMedia = async () => {
  window.streams.push(await give());
  return window.streams.at(-1);
};
"""
"""A camera that keeps each stream that it was asked for in `streams`."""


def box_of(gtin: str, number: str) -> bytes:
    """The code on a box of a batch that is good until 31 May 2030."""
    return scanned.symbol(f"\x1d01{gtin}1730053110{number}", zxingcpp.BarcodeFormat.DataMatrix)


@dataclass
class Phone:
    """A browser on which somebody is signed in. `taps` is how often its screen was touched."""

    page: Page
    url: str
    taps: int = 0
    faults: list[str] = field(default_factory=list)

    def tap(self, what: Locator) -> None:
        """Touch something that is on the screen."""
        what.click()
        self.taps += 1

    def press(self, name: str) -> None:
        """Touch a button or a link that looks like one."""
        buttons = self.page.get_by_role("button", name=name)
        self.tap(buttons.or_(self.page.get_by_role("link", name=name)).first)

    def hold_up(self, png: bytes, then: str) -> None:
        """Hold a printed label before the camera until the page says so much, then take it away."""
        card = "data:image/png;base64," + base64.b64encode(png).decode()
        self.page.evaluate("(card) => window.holdUp(card)", card)
        self.says(then)
        self.page.evaluate("() => window.holdUp(null)")

    def scanner(self, text: str) -> None:
        """A USB scanner types a code and Enter, wherever the focus is."""
        self.page.keyboard.type(text + "\n")

    def says(self, text: str) -> None:
        """Wait until the page says so."""
        self.page.get_by_text(text).first.wait_for(timeout=40_000)

    def counted(self, flow: Callable[[], None]) -> int:
        """How many taps a flow takes."""
        before = self.taps
        flow()
        return self.taps - before


def phone(
    browser: Browser, url: str, username: str, to: str = "/scan/", *, script: str = ""
) -> Phone:
    """A phone of its own, on which somebody has just signed in; `script` runs before every page."""
    page = browser.new_context(viewport=PHONE, bypass_csp=True).new_page()
    made = Phone(page, url)
    page.on("pageerror", lambda error: made.faults.append(str(error)))
    page.add_init_script(_CAMERA + script)
    sign_in(page, url, username, to)
    return made
