"""Receiving: a scan and two taps a box, new things, dates as they are printed, photos."""

import io
import re

import pytest
import zxingcpp
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from kits.models import Holding, PackCode, PlaceKind
from kits.services.stock import catalogue
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

GTIN = "09506000134352"
"""Of the range that GS1 keeps for examples."""

pytestmark = PAGES_ON_SQLITE


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def coded(world: make.World) -> make.World:
    """The school, its dressings in packs of ten with a GTIN."""
    catalogue.put_pack_code(make.act(), world.dressing, gtin=GTIN, units_per_pack=10)
    return world


def code(number: str = "D9", day: str = "300531", gtin: str = GTIN) -> str:
    return f"01{gtin}17{day}10{number}"


def test_a_scan_and_two_taps_receive_packs_onto_a_shelf(coded: make.World) -> None:
    client = browser(coded.keeper)

    answer = post(client, "/stock/receive/", text=code())
    assert "Wound dressing 10 × 12" in text_of(answer)
    assert "good until 31 May 2030" in text_of(answer)
    assert "10 in a pack" in text_of(answer)
    fields = form_with(answer, 'name="shelf"')
    done = client.post("/stock/receive/", {**fields, "packs": "3", "shelf": coded.upper.pk})

    assert done["Location"] == "/stock/receive/"
    held = Holding.objects.get(lot__number="D9")
    assert (held.units, held.place) == (30, coded.upper)
    assert (
        "30 × Wound dressing 10 × 12 received. Put away in: C3. Good until 31 May 2030."
        in text_of(client.get(done["Location"]))
    )


def test_only_what_is_typed_by_hand_asks_before_it_is_left(coded: make.World) -> None:
    """After a scan the next scan is on the way: of the shelf."""
    client = browser(coded.keeper)
    assert "data-asks" not in post(client, "/stock/receive/", text=code()).content.decode()
    page = client.get(f"/stock/receive/?item={coded.dressing.pk}").content.decode()
    assert "data-asks" in page and "unsaved.js" in page


def test_the_same_box_twice_asks_whether_there_is_more(coded: make.World) -> None:
    client = browser(coded.keeper)

    assert "Is there more of the same batch?" not in text_of(
        post(client, "/stock/receive/", text=code())
    )
    assert "Is there more of the same batch?" in text_of(
        post(client, "/stock/receive/", text=code())
    )


def test_a_pack_that_says_how_many_it_holds_counts_by_that(coded: make.World) -> None:
    client = browser(coded.keeper)

    answer = post(client, "/stock/receive/", text=f"(01){GTIN}(17)300531(10)D9(30)25")
    fields = form_with(answer, 'name="shelf"')
    client.post("/stock/receive/", {**fields, "packs": "2", "shelf": coded.shelf.pk})

    assert Holding.objects.get(lot__number="D9").units == 50


def test_a_code_that_reads_in_two_ways_is_offered_in_each(coded: make.World) -> None:
    answer = post(browser(coded.keeper), "/stock/receive/", text=f"10AB1730053101{GTIN}")

    assert "Compare with the pack" in text_of(answer)
    assert answer.content.decode().count('name="pack_code"') > 1


def test_an_unknown_code_opens_a_new_thing_with_what_is_known(world: make.World) -> None:
    client = browser(world.keeper)

    answer = post(client, "/stock/receive/", text=f"(01){GTIN}(17)300531(10)K7(30)12")
    assert "New here" in text_of(answer)
    fields = form_with(answer, 'name="base_unit"')
    assert fields["holds"] == "12"
    said = {"name": "Finger splint", "base_unit": "splint", "kind": "consumable"}
    done = client.post("/stock/receive/new/", {**fields, **said, "needs_date": "1"})

    assert PackCode.objects.get(gtin=GTIN).item.name == "Finger splint"
    page = client.get(done["Location"])
    assert "Is there more of the same batch?" not in text_of(page)
    fields = form_with(page, 'name="shelf"')
    client.post("/stock/receive/", {**fields, "packs": "1", "shelf": world.shelf.pk})
    assert Holding.objects.get(lot__number="K7").units == 12


def test_an_unknown_code_may_be_of_a_thing_that_is_known(world: make.World) -> None:
    client = browser(world.keeper)
    answer = post(client, "/stock/receive/", text=code())

    fields = form_with(answer, 'value="known"')
    done = client.post("/stock/receive/new/", {**fields, "item": world.dressing.pk, "holds": "20"})

    assert "20 in a pack" in text_of(client.get(done["Location"]))


def test_a_thing_is_chosen_and_its_date_typed_as_it_is_printed(world: make.World) -> None:
    client = browser(world.keeper)

    page = client.get(f"/stock/receive/?item={world.tablets.pk}")
    fields = form_with(page, 'name="shelf"')
    said = {**fields, "number": "t9", "packs": "16", "shelf": world.shelf.pk}
    refused = client.post("/stock/receive/", {**said, "expiry_printed": "05/06/2030"})
    assert "can be read in more than one way" in text_of(refused)
    again = form_with(refused, 'name="shelf"')
    assert again["number"] == "t9"
    client.post(
        "/stock/receive/",
        {**again, "packs": "16", "expiry_printed": "MAY 2030", "shelf": world.shelf.pk},
    )

    held = Holding.objects.get(lot__number="T9")
    assert (held.units, present(held.lot.expiry).isoformat()) == (16, "2030-05-31")


def test_what_arrives_out_of_date_goes_to_quarantine_and_says_so(coded: make.World) -> None:
    client = browser(coded.keeper)
    answer = post(client, "/stock/receive/", text=code(day="200531"))
    assert "Out of date" in text_of(answer)
    assert "whichever shelf you tap, it goes to quarantine" in text_of(answer)
    fields = form_with(answer, 'name="shelf"')

    client.post("/stock/receive/", {**fields, "packs": "1", "shelf": coded.shelf.pk})

    assert Holding.objects.get(lot__number="D9").place.kind == PlaceKind.QUARANTINE
    assert "complain to the supplier" in text_of(client.get("/stock/receive/"))


@pytest.mark.parametrize("path", ["/stock/receive/", "/kits/DAY-02/strip/"])
def test_the_camera_types_where_a_code_is_wanted(world: make.World, path: str) -> None:
    page = browser(world.keeper).get(path).content.decode()

    opens = (
        r'data-into="text"\s+data-again\s+data-stays="(receiving|stripping)"'
        r'\s+data-frames="/api/v1/scans/"'
    )
    assert re.search(opens, page)
    assert 'id="text"' in page
    assert "site/scripts/camera/camera-field.js" in page


def test_what_is_no_code_says_what_to_do_here(coded: make.World) -> None:
    answer = post(browser(coded.keeper), "/stock/receive/", text="twelve boxes")

    assert answer.status_code == 400
    assert "“twelve boxes” is neither a maker’s code" in text_of(answer)


def test_a_shelf_scanned_after_a_pack_keeps_the_pack_and_comes_first(coded: make.World) -> None:
    label = scanned.label(coded.upper)
    client = browser(coded.keeper)
    first = form_with(post(client, "/stock/receive/", text=code()), 'id="text"')

    answer = client.post("/stock/receive/", {**first, "text": label.code})

    shelves_offered = re.findall(r'name="shelf" value="(\d+)"', answer.content.decode())
    assert shelves_offered[0] == str(coded.upper.pk)
    assert "D9" in text_of(answer)


def test_the_code_with_batch_and_date_is_taken_from_a_photo_of_a_whole_box(
    coded: make.World,
) -> None:
    kinds = zxingcpp.BarcodeFormat
    retail = scanned.symbol(GTIN[1:], kinds.EAN13)
    full = scanned.symbol(f"(01){GTIN}(17)300531(10)D9", kinds.DataMatrix, gs1=True)
    box = Image.new("L", (1400, 700), 220)
    for n, picture in enumerate((retail, full)):
        box.paste(Image.open(io.BytesIO(picture)), (20 + n * 800, 40))

    photo = SimpleUploadedFile("box.jpg", scanned.jpeg(box))
    answer = post(browser(coded.keeper), "/stock/receive/", image=photo)

    assert "good until 31 May 2030" in text_of(answer)


def test_a_guide_receives_nothing(world: make.World) -> None:
    answer = browser(world.guide).get("/stock/receive/")

    assert answer.status_code == 403
    assert "Ask the keeper" in text_of(answer)
