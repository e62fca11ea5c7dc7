"""Stock in a real browser: three boxes by their codes, a count with a difference, a recall."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from playwright.sync_api import ConsoleMessage, expect

from kits.models import Entry, EntryKind, Holding, PackCode, Recall
from kits.services.custody import custody
from kits.services.stock import catalogue
from tests.e2e.hatch import COUNT_STREAMS, box_of, phone
from tests.e2e.pages import chromium, crossing, give_password, sign_in
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.waiting import until
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

KNOWN, NEW = "09506000134352", "09506000134369"
"""Of the range that GS1 keeps for examples."""


class Taps:
    """A page, and how often something on it was pressed."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.count = 0

    def __call__(self, role: Any, name: Any, **how: Any) -> None:
        self.page.get_by_role(role, name=name, **how).first.click()
        self.count += 1


def scan(page: Any, text: str) -> None:
    """A USB scanner: it types wherever the focus is, and ends with Enter."""
    page.locator("h1").click()
    page.keyboard.type(text + "\n", delay=1)


def test_boxes_arrive_a_shelf_is_counted_and_a_recall_is_followed(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    tmp_path: Path,
) -> None:
    program = need("chromium")
    world = make.world()
    catalogue.put_pack_code(make.act(), world.dressing, gtin=KNOWN, units_per_pack=10)
    type(world.guide).objects.filter(pk=world.guide.pk).update(phone="01632 960111")
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)
    keeper, guide = give_password(world.keeper), give_password(world.guide)
    adviser = give_password(world.adviser)
    server = make_web().start()
    box = scanned.symbol(f"\x1d01{KNOWN}1730053110B7", zxingcpp.BarcodeFormat.DataMatrix)
    flags = (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={crossing([box], tmp_path / 'box.mjpeg')}",
    )

    with chromium(program, *flags) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))

        def note(line: ConsoleMessage) -> None:
            if "Security Policy" in line.text:
                faults.append(line.text)

        page.on("console", note)
        sign_in(page, server.url, keeper, "/stock/receive/")
        receive_three_boxes(page, world)
        receive_by_camera(page)
        count_with_a_difference(page, server.url, world)
        follow_a_recall(browser, page, server.url, guide, adviser, world)
        assert faults == []


def on_shelves(number: str) -> int:
    """How many units of a batch lie on the shelves."""
    return sum(row.units for row in Holding.objects.filter(lot__number=number))


def test_one_stream_reads_box_after_box_and_nothing_typed_is_lost(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = make.world()
    catalogue.put_pack_code(make.act(), world.dressing, gtin=KNOWN, units_per_pack=10)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        at = phone(browser, server.url, keeper, "/stock/receive/", script=COUNT_STREAMS)
        page = at.page
        view = page.locator(".camera .view")
        at.press("Scan with the camera")
        for number in ("R1", "R2", "R3"):
            expect(view).to_be_in_viewport(ratio=1)
            at.hold_up(box_of(KNOWN, number), f"Batch {number}, good until 31 May 2030")
            expect(view).to_be_hidden()  # it rests while the form is filled in
            page.get_by_role("button", name="C2").dblclick()
            at.says("10 × Wound dressing 10 × 12 received. Put away in: C2.")
            assert on_shelves(number) == 10
        expect(view).to_be_visible()
        assert page.evaluate("streams.length") == 1
        assert page.evaluate("streams[0].getVideoTracks()[0].readyState") == "live"

        # Undone on this page too: the same stream looks on.
        at.press("Undo")
        at.says("Undone.")
        assert on_shelves("R3") == 0
        expect(view).to_be_visible()
        assert page.evaluate("streams.length") == 1

        # A code that is no pack's is refused, and the camera looks on.
        page.locator("#text").fill("no code")
        at.scanner("")
        at.says("is neither a maker’s code nor one of our labels")
        expect(view).to_be_visible()

        # What is refused stands above what was typed.
        at.hold_up(box_of(KNOWN, "R4"), "Batch R4, good until 31 May 2030")
        page.get_by_text("Supplier and price").click()
        page.get_by_label("Supplier", exact=True).fill("Hillside Supplies")
        page.get_by_label("Total price").fill("12")
        page.get_by_label("Currency").fill("12")
        at.press("C2")
        page.locator(".problem").wait_for()
        expect(page.get_by_label("Supplier", exact=True)).to_have_value("Hillside Supplies")
        expect(view).to_be_hidden()
        assert on_shelves("R4") == 0

        # No network: it says so, keeps everything, and the next tap records it once.
        page.get_by_label("Currency").fill("GBP")
        page.route("**/stock/receive/", lambda route: route.abort())
        at.press("C2")
        at.says("What was entered is still here.")
        expect(page.get_by_label("Supplier", exact=True)).to_have_value("Hillside Supplies")
        page.unroute("**/stock/receive/")
        at.press("C2")
        at.says("10 × Wound dressing 10 × 12 received. Put away in: C2.")
        assert on_shelves("R4") == 10

        # The switch has it look for another label while one is open, on the same stream.
        at.hold_up(box_of(KNOWN, "R5"), "Batch R5, good until 31 May 2030")
        at.press("Scan with the camera")
        at.hold_up(box_of(KNOWN, "R6"), "Batch R6, good until 31 May 2030")
        assert page.evaluate("streams.length") == 1
        assert at.faults == []


def receive_three_boxes(page: Any, world: make.World) -> None:
    """Each box is a scan and two taps: how many packs, and which shelf."""
    taps = Taps(page)
    scan(page, f"01{KNOWN}1730053110B1")
    page.get_by_text("good until 31 May 2030").wait_for()
    taps("radio", "3", exact=True)
    taps("button", "C3")
    page.get_by_text("30 × Wound dressing 10 × 12 received. Put away in: C3.").wait_for()
    assert taps.count == 2

    # the same box again: it asks
    scan(page, f"01{KNOWN}1730053110B1")
    page.get_by_text("More of the same batch?").wait_for()
    taps("button", "C2")
    page.get_by_text("10 × Wound dressing 10 × 12 received. Put away in: C2.").wait_for()

    # one that nobody knows here: what its code says is kept
    scan(page, f"(01){NEW}(17)290228(10)N5(30)12")
    page.get_by_role("heading", name=f"New here: GTIN {NEW}").wait_for()
    page.get_by_label("Plain name, without a brand").first.fill("Finger splint")
    page.get_by_label("Unit it is counted in").first.fill("splint")
    page.get_by_label("Consumables").first.check()
    page.get_by_role("button", name="Add the item, then receive it").first.click()
    page.get_by_text("good until 28 February 2029").wait_for()
    page.get_by_role("button", name="C2").click()
    page.get_by_text("12 × Finger splint received. Put away in: C2.").wait_for()

    held = {
        (row.lot.number, row.place_id): row.units
        for row in Holding.objects.filter(lot__number__in=["B1", "N5"]).select_related("lot")
    }
    assert held == {
        ("B1", world.upper.pk): 30,
        ("B1", world.shelf.pk): 10,
        ("N5", world.shelf.pk): 12,
    }
    assert PackCode.objects.get(gtin=NEW).units_per_pack == 12


def receive_by_camera(page: Any) -> None:
    """One tap has the camera look; after the box it looks for the next, until switched off."""
    page.get_by_role("button", name="Scan with the camera").click()
    page.get_by_text("Batch B7, good until 31 May 2030").wait_for()
    page.get_by_role("button", name="C2").click()
    page.get_by_text("10 × Wound dressing 10 × 12 received. Put away in: C2.").wait_for()
    page.get_by_role("button", name="Camera off").click()


def count_with_a_difference(page: Any, url: str, world: make.World) -> None:
    """The book's number is seen only after one's own is given; then the difference is explained."""
    page.goto(f"{url}/stock/count/")
    page.get_by_role("link", name="Count C3").click()
    page.get_by_role("heading", name="Count C3").wait_for()
    assert not re.search(r"\b30\b", page.locator("form").last.inner_text())
    fields = page.locator("form input[type=number][name^=lot-]")
    assert fields.count() == 2
    page.locator(f"#lot-{world.lots['d2'].pk}").fill("8")
    other = Holding.objects.get(lot__number="B1", place=world.upper)
    page.locator(f"#lot-{other.lot_id}").fill("30")
    page.get_by_role("button", name="Compare with the record").click()
    page.get_by_text("1 difference. Nothing is saved yet.").wait_for()
    page.get_by_text("Counted 8, on record 10.").wait_for()
    page.get_by_role("button", name="Save the count").click()
    page.get_by_text("Choose a reason for each difference").wait_for()
    assert not Entry.objects.filter(kind=EntryKind.COUNT, kit__isnull=True).exists()
    page.get_by_label("Reason for the difference Wound dressing 10 × 12 D2").select_option(
        label="Not known"
    )
    page.get_by_role("button", name="Save the count").click()
    page.get_by_text("C3 has been counted: 1 discrepancy recorded.").wait_for()
    assert make.units(world.lots["d2"], world.upper) == 8


def follow_a_recall(
    browser: Any, page: Any, url: str, guide: str, adviser: str, world: make.World
) -> None:
    """The keeper records it and sees who has it; the guide who has the kit answers; the adviser
    ends it."""
    page.goto(f"{url}/stock/recalls/")
    page.get_by_label("Which item").fill("Wound dressing 10 × 12")
    page.get_by_label("Batch number (LOT), if only one is recalled").fill("D1")
    page.get_by_role("button", name="Record the recall").click()
    card = page.get_by_role("article")
    card.get_by_text("1 place has not been checked yet.").wait_for()
    certainly = page.get_by_role("region", name="Certainly had the batch")
    certainly.get_by_text("Gil has it").wait_for()
    assert certainly.locator('a[href="tel:01632960111"]').count() == 1
    assert make.units(world.dressings, world.shelf) == 0
    page.get_by_role("button", name="Notified by phone").click()
    page.get_by_text("this person has been notified").wait_for()

    theirs = browser.new_page(viewport={"width": 360, "height": 740})
    recall = Recall.objects.get()
    sign_in(theirs, url, guide, f"/stock/recalls/{recall.pk}/")
    theirs.get_by_label("Units removed").fill("6")
    theirs.get_by_role("button", name="Removed DAY-01").click()
    theirs.get_by_text("Every place that you can see has been checked.").wait_for()
    until(
        lambda: make.units(world.dressings, make.section(world.day_01)) == 0,
        "the batch out of the kit in the book",
    )

    page.reload()
    page.get_by_text("Removed, Gil").wait_for()
    # What was taken off shelves and out of the kit is in quarantine: it is finished with a reason.
    last = browser.new_page(viewport={"width": 360, "height": 740})
    sign_in(last, url, adviser, f"/stock/recalls/{recall.pk}/")
    last.get_by_label("Reason for finishing the recall anyway").fill("Sent back to the maker.")
    last.get_by_role("button", name="Mark the recall as finished").click()
    last.get_by_text("The recall is finished. The batch stays blocked.").wait_for()
    until(lambda: Recall.objects.get().closed_id is not None, "the recall closed in the book")
