"""A bought kit broken down by a phone's camera, pack by pack."""

from collections.abc import Callable

import pytest
from playwright.sync_api import expect

from kits.services.stock import catalogue
from tests.e2e.hatch import COUNT_STREAMS, box_of, phone
from tests.e2e.pages import chromium, give_password
from tests.kits import factories as make
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
GTIN = "09506000134352"
"""Of the range that GS1 keeps for examples."""


def test_one_stream_reads_pack_after_pack_and_what_is_undone_stays_on_the_page(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = make.world()
    catalogue.put_pack_code(make.act(), world.dressing, gtin=GTIN, units_per_pack=5)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        at = phone(browser, server.url, keeper, "/kits/DAY-02/strip/", script=COUNT_STREAMS)
        page = at.page
        view, expiry = page.locator(".camera .view"), page.get_by_label("Expiry date, as printed")
        came = page.locator(".lines > li").filter(has_text="5 × Wound dressing 10 × 12")
        at.press("Scan with the camera")
        for count, number in enumerate(("S1", "S2", "S3"), start=1):
            expect(view).to_be_in_viewport(ratio=1)
            at.hold_up(box_of(GTIN, number), "Where does this go?")
            expect(expiry).to_have_value("2030-05-31")
            expect(view).to_be_hidden()  # it rests while the place is chosen
            page.get_by_role("button", name="C2").dblclick()
            expect(came).to_have_count(count)
        expect(view).to_be_visible()

        # By name, from several that have it; the camera rests meanwhile.
        page.locator("#text").fill("dressing")
        at.scanner("")
        page.get_by_role("button", name="Wound dressing 10 × 12", exact=True).click()
        at.says("Where does this go?")
        at.press("Training box")
        at.says("1 × Wound dressing 10 × 12")

        # What was done last by the message, what was done before in its row.
        at.press("Undo")
        at.says("Undone.")
        expect(came).to_have_count(3)
        came.first.get_by_role("button", name="Undo").click()
        expect(came).to_have_count(2)
        expect(view).to_be_visible()

        # What came before that is asked about first, on this page too.
        came.last.get_by_role("button", name="Undo").click()
        at.says("After undoing")
        expect(view).to_be_hidden()
        expect(came).to_have_count(2)
        expect(came.first).to_be_hidden()
        at.press("Leave it as it is")
        expect(came.first).to_be_visible()
        expect(view).to_be_visible()
        came.last.get_by_role("button", name="Undo").click()
        at.press("Undo it")
        at.says("Undone.")
        expect(came).to_have_count(1)
        expect(view).to_be_visible()
        assert page.evaluate("streams.length") == 1
        assert page.evaluate("streams[0].getVideoTracks()[0].readyState") == "live"
        assert at.faults == []
