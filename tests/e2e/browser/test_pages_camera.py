"""From camera to kit checked out, in a real browser on a real server."""

import base64
import json
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import zxingcpp
from playwright.sync_api import ConsoleMessage, Page, expect
from pytest_django import Settings

from kits.models import Checkout
from kits.services.custody import custody
from tests.e2e.hatch import Phone, phone
from tests.e2e.pages import chromium, crossing, give_password, sign_in
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.waiting import until
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


def test_a_kit_and_a_tag_pass_before_the_camera_and_the_kit_is_out(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    settings: Settings,
    tmp_path: Path,
) -> None:
    program = need("chromium")
    settings.PUBLIC_URL = scanned.ADDRESS
    school = scanned.labelled()
    keeper = give_password(school.world.keeper)
    film = crossing(
        [scanned.png_of(school.kit), scanned.png_of(school.tag)], tmp_path / "labels.mjpeg"
    )
    server = make_web().start()
    flags = (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    )

    with chromium(program, *flags) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))

        def note(line: ConsoleMessage) -> None:
            if line.type == "error":
                faults.append(line.text)

        page.on("console", note)
        page.add_init_script(
            "window.buzzes = []; navigator.vibrate = (how) => window.buzzes.push(how);"
        )
        sign_in(page, server.url, keeper, "/scan/")
        done = page.get_by_role("listitem").filter(has_text="taken out – Gil")
        done.first.wait_for(timeout=40_000)

        held = Checkout.objects.get(in_at=None)
        assert (held.kit.name, held.person) == ("DAY-01", school.world.guide)
        assert page.evaluate("window.buzzes.length") >= 2
        assert page.locator("#video").evaluate("v => [v.playsInline, v.muted, v.autoplay]") == [
            True,
            True,
            True,
        ]

        # The label comes by again and again: a kit that is out brings up Hand back, no more.
        page.get_by_role("button", name="Sort later").wait_for(timeout=40_000)
        assert Checkout.objects.filter(in_at=None).count() == 1

        # What was chosen is remembered.
        page.get_by_text("Scan mode").first.click()
        page.get_by_label("Beep").uncheck()
        page.reload()
        assert page.locator("#beep").is_checked() is False
        assert page.locator("#buzz").is_checked() is True

        page.get_by_role("button", name="Undo DAY-01").first.click()
        page.get_by_text("Undone.").wait_for()
        assert not Checkout.objects.filter(in_at=None).exists()
        assert faults == []


def test_without_a_camera_the_page_says_why_and_a_typed_code_still_works(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    settings: Settings,
) -> None:
    program = need("chromium")
    school = scanned.labelled()
    keeper = give_password(school.world.keeper)
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, "gear.test"]
    server = make_web().start()

    with chromium(program, "--host-resolver-rules=MAP gear.test 127.0.0.1") as browser:
        # not over HTTPS
        page = browser.new_page()
        plain = server.url.replace("127.0.0.1", "gear.test")
        sign_in(page, plain, keeper, "/scan/")
        page.get_by_text("The camera works only over HTTPS.").wait_for()

        # a USB scanner types wherever the focus is, and ends with Enter
        page.locator("h1").click()
        page.keyboard.type(f"https://gear.test/L/{school.kit.code}\n", delay=2)
        page.get_by_role("heading", name="DAY-01").wait_for()
        page.keyboard.type(school.tag.code + "\n", delay=2)
        page.get_by_text("DAY-01 is out with Gil").wait_for()
        out = Checkout.objects.filter(in_at=None, person=school.world.guide)
        until(out.exists, "the kit out with the guide in the book")

        # refused
        asked = browser.new_page()
        asked.add_init_script(
            "navigator.mediaDevices.getUserMedia = () =>"
            " Promise.reject(new DOMException('', 'NotAllowedError'));"
        )
        sign_in(asked, server.url, keeper, "/scan/")
        asked.get_by_text("Access to the camera was refused.").wait_for()
        for nothing_to_see in (page, asked):
            expect(nothing_to_see.locator(".view")).to_be_hidden()
            expect(nothing_to_see.locator("#text")).to_be_visible()

        # no script at all
        bare = browser.new_context(java_script_enabled=False).new_page()
        sign_in(bare, server.url, keeper, "/scan/")
        bare.fill("#text", "DAY-01")
        bare.get_by_role("button", name="Look up").click()
        bare.get_by_role("button", name="Sort later").click()
        bare.get_by_text("DAY-01 is back").wait_for()
        until(lambda: not out.all().exists(), "the kit back in the book")


_STREAMS = """
const give = navigator.mediaDevices.getUserMedia;
window.streams = [];
window.lit = [];
MediaStreamTrack.prototype.getCapabilities = () => ({ torch: true });
MediaStreamTrack.prototype.applyConstraints = async ({ advanced: [{ torch }] }) => {
  window.lit.push(torch);
};
navigator.mediaDevices.getUserMedia = async () => {
  window.streams.push(await give());
  return window.streams.at(-1);
};
window.endTrack = () => {
  const [track] = window.streams.at(-1).getVideoTracks();
  track.stop();
  track.dispatchEvent(new Event('ended'));
};
window.put = (away) => {
  Object.defineProperty(document, 'hidden', { value: away, configurable: true });
  document.dispatchEvent(new Event('visibilitychange'));
};
"""
"""Counts the streams that are asked for, and ends and hides as a phone's system does."""


def streams(page: Page, count: int) -> None:
    """Wait for the stream that is the so-manieth, live."""
    live = "streams.at(-1)?.getVideoTracks()[0].readyState === 'live'"
    page.wait_for_function(f"streams.length === {count} && {live}", timeout=40_000)


def test_one_stream_is_kept_and_starts_again_where_the_phone_took_it_away(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    settings: Settings,
) -> None:
    program = need("chromium")
    need("barcode-detector")
    settings.PUBLIC_URL = scanned.ADDRESS
    school = scanned.labelled()
    other = scanned.filled("DAY-03", school.world)
    keeper = give_password(school.world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        at = phone(browser, server.url, keeper, script=_STREAMS)
        page = at.page
        at.hold_up(scanned.png_of(school.tag), "The next kit is for Gil")
        at.hold_up(scanned.png_of(school.kit), "DAY-01 is out with Gil")
        streams(page, 1)
        page.get_by_role("button", name="Light").click()

        # Another program took the camera: it is asked for again, and lights as before.
        page.evaluate("endTrack()")
        streams(page, 2)
        page.wait_for_function("lit.length === 2")
        assert page.evaluate("lit") == [True, True]
        expect(page.get_by_role("button", name="Light")).to_have_attribute("aria-pressed", "true")

        # In the background nobody is asked; in front again it reads on.
        page.evaluate("put(true)")
        page.evaluate("endTrack()")
        page.wait_for_timeout(300)
        assert page.evaluate("streams.length") == 2
        page.evaluate("put(false)")
        streams(page, 3)
        at.hold_up(scanned.png_of(scanned.label(other)), "DAY-03 is here")

        # What is undone is asked about on this page, unless it was one's own last act.
        custody.check_out(make.act(school.world.keeper), other, person=school.world.guide)
        undo = page.get_by_role("button", name="Undo DAY-01")
        undo.click()
        at.says("After undoing")
        expect(page.locator(".view")).to_be_hidden()
        at.press("Leave it as it is")
        expect(page.locator(".view")).to_be_visible()
        undo.click()
        at.press("Undo it")
        at.says("Undone.")
        expect(undo).to_have_count(0)
        expect(page.locator(".view")).to_be_visible()
        assert not Checkout.objects.filter(kit=school.world.day_01, in_at=None).exists()
        page.get_by_role("button", name="Undo DAY-03").click()
        expect(page.get_by_role("button", name="Undo DAY-03")).to_have_count(0)
        assert not Checkout.objects.filter(in_at=None).exists()
        assert page.evaluate("streams.length") == 3
        at.hold_up(scanned.png_of(school.kit), "DAY-01 is here")

        # Switched off it stays off; where it ends again and again it says so.
        page.get_by_role("button", name="Camera off").click()
        page.evaluate("put(true)")
        page.evaluate("put(false)")
        expect(page.locator(".view")).to_be_hidden()
        assert page.evaluate("streams.length") == 3
        page.get_by_role("button", name="Camera on").click()
        for count in (4, 5, 6, 7):
            streams(page, count)
            page.evaluate("endTrack()")
        page.get_by_text("The camera has stopped. Turn it on again, or type the code.").wait_for()
        assert at.faults == []


_OWN_READER = """
const [SUPPORTED, GONE] = JSON.parse(sessionStorage.getItem("own") ?? "[[], false]");
window.own = { made: [], looked: 0 };
window.BarcodeDetector = class {
  static async getSupportedFormats() { return SUPPORTED; }
  #formats;
  constructor({ formats }) {
    if (!formats.length || formats.some((each) => !SUPPORTED.includes(each))) throw new TypeError();
    this.#formats = formats;
    window.own.made.push(formats);
  }
  async detect(picture) {
    window.own.looked += 1;
    if (GONE) throw new DOMException("The service is gone.", "NotSupportedError");
    const symbols = await window.readByThePlatform(picture.toDataURL("image/jpeg"));
    return symbols.filter(({ format }) => this.#formats.includes(format)).map((each) => (
      { ...each, boundingBox: DOMRectReadOnly.fromRect(each.boundingBox) }));
  }
};
"""
"""A reader of the browser's own, as the Barcode Detection API has it (W3C Community Group draft
"Accelerated Shape Detection in Images")."""


def read_by_the_platform(picture: Any) -> list[dict[str, Collection[Collection[str]]]]:
    """What the platform finds in a frame, as a data: URL, as the API tells it."""
    jpeg = np.frombuffer(base64.b64decode(picture.partition(",")[2]), np.uint8)
    symbols = []
    for each in zxingcpp.read_barcodes(cv2.imdecode(jpeg, cv2.IMREAD_GRAYSCALE)):
        at = each.position
        corners = [at.top_left, at.top_right, at.bottom_right, at.bottom_left]
        (left, *_, right), (top, *_, bottom) = (
            sorted(p.x for p in corners),
            sorted(p.y for p in corners),
        )
        symbols.append(
            {
                "rawValue": each.text,
                "format": {"QRCode": "qr_code", "DataMatrix": "data_matrix"}[each.format.name],
                "boundingBox": {"x": left, "y": top, "width": right - left, "height": bottom - top},
                "cornerPoints": [{"x": p.x, "y": p.y} for p in corners],
            }
        )
    return symbols


def test_the_browsers_own_reader_reads_where_it_can_and_gives_way_where_it_cannot(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    settings: Settings,
) -> None:
    program = need("chromium")
    need("barcode-detector")
    settings.PUBLIC_URL = scanned.ADDRESS
    school = scanned.labelled()
    keeper = give_password(school.world.keeper)
    label = scanned.png_of(school.kit)
    server = make_web().start()

    def read(at: Phone, supported: list[Any], *, gone: bool = False) -> tuple[Any, Any]:
        """Read a kit's label without the server: what the browser's own reader was asked for, and
        whether the replacement was loaded."""
        at.page.evaluate(
            "(own) => sessionStorage.setItem('own', own)", json.dumps([supported, gone])
        )
        at.page.goto(f"{server.url}/scan/")
        at.hold_up(label, "DAY-01 is here")
        loaded = "performance.getEntriesByType('resource').some((e) => e.name.includes('ponyfill'))"
        return at.page.evaluate("window.own"), at.page.evaluate(loaded)

    with chromium(program) as browser:
        at = phone(browser, server.url, keeper, "/kits/", script=_OWN_READER)
        at.page.expose_function("readByThePlatform", read_by_the_platform)
        at.page.route("**/api/v1/scans/", lambda route: route.abort())

        own, loaded = read(at, ["aztec", "data_matrix", "qr_code"])
        assert own["made"] == [["qr_code", "data_matrix"]]
        assert own["looked"] > 0
        assert not loaded

        own, loaded = read(at, ["code_128", "qr_code"])  # no reader of makers' codes
        assert own["looked"] == 0
        assert loaded

        own, loaded = read(at, ["qr_code", "data_matrix"], gone=True)
        assert own["looked"] == 5
        assert loaded
        assert at.faults == []
