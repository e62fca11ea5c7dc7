"""Pages are light, and stand still while they load."""

from collections.abc import Callable

import pytest

from tests.e2e.pages import chromium, give_password, sign_in
from tests.labels.scan import scanned
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
CAMERA = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
WIRE_BYTES = 100_000
LOADED = "performance.getEntriesByType('resource').map((each) => each.name)"
_LAYOUT_SHIFT = """() => new Promise((tell) => {
  let sum = 0;
  new PerformanceObserver((list) => {
    for (const each of list.getEntries()) if (!each.hadRecentInput) sum += each.value;
  }).observe({ type: 'layout-shift', buffered: true });
  requestAnimationFrame(() => requestAnimationFrame(() => tell(sum)));
})"""


def test_pages_are_light_and_stand_still(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    need("barcode-detector")
    keeper = give_password(scanned.labelled().world.keeper)
    server = make_web().start()

    with chromium(program, *CAMERA) as browser:
        # Nothing is loaded to read with before the camera is allowed.
        refused = browser.new_page()
        refused.add_init_script(
            "navigator.mediaDevices.getUserMedia = () =>"
            " Promise.reject(new DOMException('', 'NotAllowedError'));"
        )
        sign_in(refused, server.url, keeper, "/scan/")
        refused.get_by_text("Access to the camera was refused.").wait_for()
        assert "/static/reading/" not in str(refused.evaluate(LOADED))

        context = browser.new_context(
            viewport={"width": 360, "height": 740}, service_workers="block"
        )
        sign_in(context.new_page(), server.url, keeper)
        for path in ("/", "/scan/", "/kits/DAY-01/", "/kits/DAY-01/sort/", "/offline/"):
            page = context.new_page()
            wire: dict[str, int] = {}
            names: dict[str, str] = {}
            network = context.new_cdp_session(page)
            network.on(
                "Network.requestWillBeSent",
                lambda told, names=names: names.update({told["requestId"]: told["request"]["url"]}),
            )
            network.on(
                "Network.loadingFinished",
                lambda told, wire=wire, names=names: wire.update(
                    {names.get(told["requestId"], ""): told["encodedDataLength"]}
                ),
            )
            network.send("Network.enable")
            network.send("Network.setCacheDisabled", {"cacheDisabled": True})
            page.goto(server.url + path)
            last = ".wasm" if path in ("/scan/", "/offline/") else "/offline/sync.js"
            page.wait_for_function(
                "(last) => performance.getEntriesByType('resource')"
                ".some((each) => each.name.endsWith(last) && each.responseEnd)",
                arg=last,
            )
            size = sum(size for url, size in wire.items() if not url.endswith(".wasm"))
            assert 0 < size < WIRE_BYTES, (path, size, wire)
            shift = page.evaluate(_LAYOUT_SHIFT)
            assert shift <= 0.01, (path, shift)
            page.close()
