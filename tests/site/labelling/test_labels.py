"""Labels at the desk: chosen, seen to scale, printed, replaced; the printer measured."""

import io
import re
from typing import Any

import pypdfium2
import pytest
from PIL import Image
from pytest_django import Settings

from gearroom.core import clock
from gearroom.core.rules.roles import Role
from kits.models import Label
from kits.services.labelling import labelling
from kits.services.restocking import sealing
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school(settings: Settings) -> scanned.Labelled:
    settings.PUBLIC_URL = scanned.ADDRESS
    return scanned.labelled()


def printed(answer: Any) -> list[Any]:
    """The texts of a PDF's pages."""
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    document = pypdfium2.PdfDocument(io.BytesIO(answer.content))
    return [page.get_textpage().get_text_range() for page in document]


def test_things_without_a_label_are_ticked_and_get_one_each(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)

    page = client.get("/labels/?for=kits").content.decode()
    assert f'value="{school.world.day_02.pk}" checked' in page
    assert f'value="{school.world.day_01.pk}" checked' not in page
    on = [school.world.day_01.pk, school.world.day_02.pk]
    answer = post(client, "/labels/", **{"for": "kits", "room": "main-store", "on": on})

    made = Label.objects.get(kit=school.world.day_02)
    assert Label.objects.filter(kit=school.world.day_01).count() == 1
    wanted = f"/labels/print/?codes={school.kit.code}.{made.code}&sheet="
    assert answer["Location"] == wanted
    page = text_of(client.get(answer["Location"]))
    assert "2 labels: kit DAY-01; kit DAY-02" in page


@pytest.mark.parametrize(
    ("tick", "ticked"), [("all", [1, 1]), ("none", [0, 0]), ("unprinted", [0, 1]), ("odd", [0, 1])]
)
def test_all_or_those_not_printed_yet_are_ticked_in_one_tap(
    school: scanned.Labelled, tick: str, ticked: list[int]
) -> None:
    client = browser(school.world.keeper)
    Label.objects.filter(pk=school.kit.pk).update(printed_at=clock.now())

    page = client.get(f"/labels/?for=kits&tick={tick}").content.decode()

    for kit, wanted in zip((school.world.day_01, school.world.day_02), ticked, strict=True):
        assert (f'value="{kit.pk}" checked' in page) is bool(wanted)


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        ("pouches", "DAY-01, Pouch"),
        ("shelves", "C2"),
        ("batches", "Wound dressing 10 × 12, D1"),
        ("people", "Gil"),
    ],
)
def test_every_kind_of_thing_can_be_chosen(school: scanned.Labelled, kind: str, name: str) -> None:
    page = browser(school.world.keeper).get(f"/labels/?for={kind}")

    assert name in text_of(page)
    assert "{{" not in page.content.decode()


def test_a_program_is_no_person_who_could_wear_a_tag(school: scanned.Labelled) -> None:
    program = make.person("Trip booking", Role.INTEGRATION, school.world.store)
    client = browser(school.world.keeper)

    assert "Trip booking" not in text_of(client.get("/labels/?for=people"))
    assert "Trip booking" not in text_of(client.get("/labels/?for=people&search=booking"))
    fields = {"for": "people", "room": "main-store", "on": [program.pk]}
    assert post(client, "/labels/", **fields).status_code == 400
    assert not Label.objects.filter(person=program).exists()


def test_another_rooms_things_get_no_label_from_here(school: scanned.Labelled) -> None:
    client = browser(school.world.stranger)
    fields = {"for": "kits", "room": "main-store", "on": [school.world.day_02.pk]}

    answer = post(client, "/labels/", **fields)

    assert answer.status_code == 400
    assert not Label.objects.filter(kit=school.world.day_02).exists()
    assert client.get(f"/labels/{school.kit.code}/").status_code == 404


def test_nothing_ticked_says_so(school: scanned.Labelled) -> None:
    answer = post(browser(school.world.keeper), "/labels/", **{"for": "kits"})

    assert answer.status_code == 400
    assert "Choose at least one entry" in text_of(answer)


def test_blanks_are_made_for_a_room(school: scanned.Labelled) -> None:
    fields = {"for": "blanks", "room": "main-store", "count": "5"}

    answer = post(browser(school.world.guide), "/labels/", **fields)

    assert answer["Location"].count(".") == 4
    assert Label.objects.filter(kind="blank").count() == 6


def test_a_blank_label_that_is_scanned_is_bound_to_what_it_was_stuck_on(
    school: scanned.Labelled,
) -> None:
    client, code = browser(school.world.guide), scanned.shown(school.blank)

    assert f"/labels/{code}/bind/" in post(client, "/scan/", text=code).content.decode()
    assert client.get(f"/L/{school.blank.code}")["Location"] == f"/labels/{code}/bind/"
    page = client.get(f"/labels/{code}/bind/").content.decode()
    assert page.index("DAY-02") < page.index("DAY-01")  # which has a label already
    fields = {"for": "kits", "room": "main-store", "on": school.world.day_02.pk}
    answer = post(client, f"/labels/{code}/bind/", **fields)

    assert answer["Location"] == f"/labels/{code}/"
    assert labelling.live(school.world.day_02) == school.blank
    assert client.get(f"/labels/{code}/bind/")["Location"] == f"/labels/{code}/"
    other = scanned.shown(school.kit)
    assert client.get(f"/labels/{other}/bind/")["Location"] == f"/labels/{other}/"


def test_a_blank_label_is_bound_to_nothing_of_another_room(school: scanned.Labelled) -> None:
    code = scanned.shown(school.blank)
    fields = {"for": "shelves", "room": "cave-hut", "on": school.world.hut_shelf.pk}

    answer = post(browser(school.world.guide), f"/labels/{code}/bind/", **fields)

    assert answer.status_code == 400
    assert post(browser(school.world.stranger), f"/labels/{code}/bind/").status_code == 404


def test_the_first_page_is_shown_to_scale_and_printed_from_the_chosen_cell(
    school: scanned.Labelled,
) -> None:
    client = browser(school.world.keeper)
    asked = {"codes": f"{school.kit.code}.{school.shelf.code}", "sheet": "a4-3x7",
             "start_cell": "21", "copies": "1"}  # fmt: skip

    page = client.get("/labels/print/", asked)
    assert "2 pages" in text_of(page)
    assert re.search(r'width="794"\s+height="1123"', page.content.decode())
    picture = Image.open(io.BytesIO(client.get("/labels/print/picture/", asked).content))
    assert abs(picture.width - 794) <= 1 and abs(picture.height - 1123) <= 1
    assert Label.objects.get(pk=school.kit.pk).printed_at is None

    pages = printed(post(client, "/labels/print/pdf/", **asked))
    assert "DAY-01" in pages[0] and "C2" in pages[1]
    assert Label.objects.get(pk=school.kit.pk).printed_at is not None


def test_without_a_public_address_only_a_preview_is_printed(
    school: scanned.Labelled, settings: Settings
) -> None:
    settings.PUBLIC_URL = ""
    client = browser(school.world.keeper)
    asked = {"codes": school.kit.code}

    assert "Preview only" in text_of(client.get("/labels/print/", asked))
    answer = post(client, "/labels/print/pdf/", **asked)
    assert answer.status_code == 409
    assert "GEARROOM_PUBLIC_URL" in text_of(answer)
    assert printed(post(client, "/labels/print/pdf/", **asked, preview="1"))
    assert client.get(f"/labels/{school.kit.code}/picture/")["Content-Type"] == "image/png"
    card = client.get("/kits/DAY-01/card/")
    assert (card.status_code, "See a preview" in text_of(card)) == (409, True)
    assert printed(client.get("/kits/DAY-01/card/?preview=1"))


@pytest.mark.parametrize(
    "asked", [{"start_cell": "22"}, {"copies": "0"}, {"sheet": "nothing"}, {"codes": "x"}]
)
def test_what_cannot_be_printed_is_said_in_a_sentence(
    school: scanned.Labelled, asked: dict[str, str]
) -> None:
    asked = {"codes": school.kit.code, "sheet": "a4-3x7", **asked}

    answer = browser(school.world.keeper).get("/labels/print/", asked)

    assert answer.status_code in (400, 404)
    assert "That didn’t work." in text_of(answer)


def test_a_worn_label_is_cancelled_and_replaced(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    code = school.kit.code
    assert "kit DAY-01" in text_of(client.get(f"/labels/{code}/"))

    assert post(client, f"/labels/{code}/cancel/", why="").status_code == 400
    answer = post(client, f"/labels/{code}/cancel/", why="worn", replace="1")

    new = labelling.live(school.world.day_01)
    assert answer["Location"] == f"/labels/print/?codes={present(new).code}"
    page = text_of(client.get(f"/labels/{code}/"))
    assert "worn" in page and "Replaced by" in page
    refused = post(browser(school.world.guide), f"/labels/{present(new).code}/cancel/", why="x")
    assert refused.status_code == 403


def test_a_measured_printer_is_put_right_on_this_device(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    measured = {"sheet": "a4-3x7", "left_mm": "16", "top_mm": "14,5", "across_mm": "100",
                "down_mm": "100"}  # fmt: skip

    post(client, "/labels/printer/", **measured)

    assert "-1.0 mm across, 0.5 mm down" in text_of(client.get("/labels/printer/?sheet=a4-3x7"))
    assert printed(client.get("/labels/printer/test-page/?sheet=a4-3x7"))
    asked = {"codes": school.kit.code, "sheet": "a4-3x7"}
    assert "corrected by -1.0 mm" in text_of(client.get("/labels/print/", asked))
    assert printed(post(client, "/labels/print/pdf/", **asked))
    post(client, "/labels/printer/", sheet="a4-3x7", none="1")
    assert "Save the correction" in text_of(client.get("/labels/printer/?sheet=a4-3x7"))


@pytest.mark.parametrize("wrong", ["", "sixteen", "60", "nan"])
def test_a_length_that_no_printer_makes_is_refused(school: scanned.Labelled, wrong: str) -> None:
    measured = {"left_mm": wrong, "top_mm": "15", "across_mm": "100", "down_mm": "100"}

    answer = post(browser(school.world.keeper), "/labels/printer/", **measured)

    assert answer.status_code == 400


def test_a_sealed_kits_tag_and_the_rooms_paper_sheet_are_printed(school: scanned.Labelled) -> None:
    sealing.reseal(make.act(school.world.keeper), school.world.day_01, "0417")
    client = browser(school.world.guide)

    assert "0417" in printed(client.get("/kits/DAY-01/tag/"))[0]
    assert "DAY-01" in printed(client.get("/rooms/main-store/sign-out-sheet/"))[0]
    answer = client.get("/kits/DAY-02/tag/")
    assert answer.status_code == 409
    assert "has no seal on record" in text_of(answer)


# ------------------------------------------------------------------------------- own sheets
PACKET = {
    "name": "Big tags 2 by 4",
    "form": "sheet",
    "page_width_mm": "210",
    "page_height_mm": "297",
    "cell_width_mm": "99,1",
    "cell_height_mm": "67.7",
    "columns": "2",
    "rows": "4",
    "left_mm": "4.65",
    "top_mm": "13",
    "pitch_x_mm": "101.6",
    "pitch_y_mm": "",
}


def test_a_sheet_of_ones_own_is_added_by_its_measures_tested_and_printed_on(
    school: scanned.Labelled,
) -> None:
    client = browser(school.world.keeper)
    assert "99.1" not in text_of(client.get("/labels/sheets/"))

    answer = post(client, "/labels/sheets/", **PACKET)

    assert answer["Location"] == "/labels/printer/?sheet=Big%20tags%202%20by%204"
    there = text_of(client.get(answer["Location"]))
    assert "You can now print on Big tags 2 by 4. Print its test page first" in there
    assert printed(client.get("/labels/printer/test-page/?sheet=Big%20tags%202%20by%204"))
    sheet = {"codes": school.kit.code, "sheet": "Big tags 2 by 4", "start_cell": "8"}
    assert "DAY-01" in printed(post(client, "/labels/print/pdf/", **sheet))[0]
    assert "8 labels of 99.1 × 67.7 mm" in text_of(client.get("/labels/sheets/"))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"left_mm": "20"}, "The last column extends 10.7 mm beyond"),
        ({"pitch_y_mm": "60"}, "The labels overlap: it is 60 mm"),
        ({"cell_height_mm": "wide"}, "Label height: enter a length in millimetres"),
        ({"rows": "0"}, "Labels per column: “0” is not valid."),
        ({"name": " "}, "Enter a name"),
        ({"name": "a4-3x7"}, "Choose another name."),
        ({"form": "roll"}, "A roll has one label per page"),
        (
            {"hole_diameter_mm": "5"},
            ("From a label’s top edge to the centre of the hole: enter a length"),
        ),
    ],
)
def test_measures_that_do_not_fit_are_said_and_what_was_typed_stays(
    school: scanned.Labelled, change: dict[str, str], says: str
) -> None:
    client = browser(school.world.keeper)

    answer = post(client, "/labels/sheets/", **(PACKET | change))

    assert answer.status_code in (400, 409)
    assert says in text_of(answer)
    assert 'value="101.6"' in answer.content.decode()
    assert "You can now print on" not in text_of(client.get("/labels/sheets/"))


def test_a_form_can_start_from_a_sheet_that_there_is(school: scanned.Labelled) -> None:
    page = browser(school.world.keeper).get("/labels/sheets/?like=key-ring-a4").content.decode()

    assert re.search(r'name="hole_diameter_mm"\s+inputmode="decimal"\s+value="5"', page)
    assert re.search(r'value="cut"\s+checked', page)


def test_a_sheet_added_here_can_be_removed_and_a_built_in_one_not(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    post(client, "/labels/sheets/", **PACKET)

    post(client, "/labels/sheets/remove/", sheet="Big tags 2 by 4")

    assert "8 labels of" not in text_of(client.get("/labels/sheets/"))
    refused = post(client, "/labels/sheets/remove/", sheet="a4-3x7")
    assert "is built in" in text_of(refused)


def test_the_picture_of_a_full_sheet_is_light_enough_for_a_page(school: scanned.Labelled) -> None:
    asked = f"codes={school.kit.code}&sheet=a4-5x13&copies=65"
    answer = browser(school.world.keeper).get(f"/labels/print/picture/?{asked}")

    picture = Image.open(io.BytesIO(answer.content))
    assert picture.size == (794, 1123)
    assert picture.convert("L").getextrema() == (0, 255)
    assert len(answer.content) < 60_000
