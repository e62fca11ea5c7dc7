"""The doors of labels and of paper: made, bound, cancelled; sheets, pictures, tags, cards."""

import io
import uuid
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from django.core.cache import cache
from PIL import Image
from pytest_django import DjangoAssertNumQueries, Settings

from kits.models import Label
from kits.services.custody import use
from kits.services.labelling import labelling
from kits.services.restocking import sealing, sorting
from tests.core.api.made import Caller
from tests.kits import factories as make
from tests.labels.printing.printed import QR_CODE
from tests.labels.scan import scanned as at
from tests.present import present

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def labels(settings: Settings) -> at.Labelled:
    cache.clear()
    settings.PUBLIC_URL = at.ADDRESS
    settings.ORGANISATION = "Umberfell Outdoor School"
    return at.labelled()


@pytest.fixture
def keeper(labels: at.Labelled) -> Caller:
    return make.caller(labels.world.keeper)


def read(pdf: Any, page: int = 0) -> tuple[list[str], Any]:
    """What the symbols of a page say, and its words."""
    document = pypdfium2.PdfDocument(pdf)
    image = document[page].render(scale=300 / 72).to_pil()
    words = document[page].get_textpage().get_text_bounded()
    texts = [b.text for b in zxingcpp.read_barcodes(image, formats=QR_CODE)]
    return texts, words


def payload(label: Label) -> str:
    return f"{at.ADDRESS.upper()}/L/{label.code}"


# ------------------------------------------------------------------------------------- labels
def test_labels_are_made_for_things_that_have_none_yet(labels: at.Labelled, keeper: Caller) -> None:
    world = labels.world
    on = [
        {"kit": "DAY-01"},
        {"kit": "DAY-02"},
        {"kit": "DAY-02", "section": "pouch"},
        {"lot": str(world.lots["d2"].pk)},
        {"shelf": str(world.upper.pk)},
        {"person": str(world.instructor.pk)},
    ]
    answer = keeper.post("labels/", {"on": on, "room": "main-store"})
    assert answer.status_code == 201, answer.json()
    made = answer.json()["labels"]
    assert made[0]["code"] == at.shown(labels.kit)
    assert [each["kind"] for each in made] == ["kit", "kit", "section", "lot", "shelf", "person"]
    again = keeper.post("labels/", {"on": on[:1], "again": True}).json()["labels"]
    assert again[0]["code"] != at.shown(labels.kit)


def test_blanks_are_made_for_a_room_and_bound_by_scanning(
    labels: at.Labelled, keeper: Caller
) -> None:
    made = keeper.post("labels/", {"blanks": 3, "room": "Main store"}).json()["labels"]
    assert [each["kind"] for each in made] == ["blank"] * 3
    answer = keeper.post(f"labels/{made[0]['code']}/bind/", {"to": {"kit": "DAY-02"}})
    assert (answer.status_code, answer.json()["kit"]) == (200, "DAY-02")
    answer = keeper.post(f"labels/{made[0]['code']}/bind/", {"to": {"kit": "DAY-01"}})
    assert (answer.status_code, answer.json()["bound_to"]) == (409, "kit DAY-02")


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"blanks": 3},
        {"blanks": 0, "room": "Main store"},
        {"blanks": 1001, "room": "Main store"},
        {"on": []},
        {"on": [{}]},
        {"on": [{"kit": "DAY-01", "lot": "1"}]},
        {"on": [{"section": "pouch"}]},
    ],
)
def test_it_says_what_is_wrong_with_a_wish_for_labels(
    labels: at.Labelled, keeper: Caller, body: Any
) -> None:
    before = Label.objects.count()
    answer = keeper.post("labels/", body)
    assert answer.status_code == 400, answer.json()
    assert Label.objects.count() == before


def test_labels_are_listed_by_what_they_are_on(labels: at.Labelled, keeper: Caller) -> None:
    def kinds(query: str) -> list[Any]:
        return sorted(each["kind"] for each in keeper.get(f"labels/{query}").json()["results"])

    assert kinds("") == ["blank", "kit", "lot", "person", "section", "shelf"]
    assert kinds("?kit=DAY-01") == ["kit", "section"]
    assert kinds("?kind=lot") == ["lot"]
    assert kinds(f"?person={labels.world.guide.pk}") == ["person"]
    assert kinds("?cancelled=true") == []
    assert kinds("?printed=false&room=main-store&kind=shelf") == ["shelf"]


def test_the_list_takes_as_many_queries_however_long_it_is(
    labels: at.Labelled, keeper: Caller, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_max_num_queries(12):
        assert keeper.get("labels/").status_code == 200
    for _ in range(20):
        at.label(labels.world.day_02)
    with django_assert_max_num_queries(12):
        assert len(keeper.get("labels/").json()["results"]) == 26


def test_a_stranger_lists_no_labels_of_other_rooms(labels: at.Labelled) -> None:
    stranger = make.caller(labels.world.stranger)
    assert stranger.get("labels/").json()["results"] == []


def test_a_label_is_cancelled_and_replaced(labels: at.Labelled, keeper: Caller) -> None:
    path = f"labels/{at.shown(labels.kit)}/cancel/"
    done = keeper.post(path, {"why": "torn", "replace": True})
    assert done.status_code == 200, done.json()
    body = done.json()
    assert body["cancelled"]["cancelled_why"] == "torn"
    assert body["cancelled"]["replaced_by"] == body["replacement"]["code"]
    assert keeper.get(f"labels/{body['replacement']['code']}/").json()["kit"] == "DAY-01"
    assert keeper.post(path, {"why": "torn"}).json()["code"] == "label-cancelled"


# ------------------------------------------------------------------------------------- sheets
def test_a_sheet_of_labels_is_a_pdf_whose_symbols_read(labels: at.Labelled, keeper: Caller) -> None:
    wanted = [labels.kit, labels.lot, labels.shelf]
    answer = keeper.post(
        "labels/sheets/",
        {"labels": [at.shown(each) for each in wanted], "start_cell": 4, "copies": 2},
    )
    assert answer.status_code == 200, answer.content[:300]
    assert answer.headers["Content-Type"] == "application/pdf"
    texts, words = read(answer.content)
    assert sorted(texts) == sorted([payload(each) for each in wanted] * 2)
    assert "DAY-01" in words
    assert Label.objects.get(pk=labels.kit.pk).printed_at is not None


def test_real_sheets_are_refused_while_the_public_address_is_unset(
    labels: at.Labelled, keeper: Caller, settings: Settings
) -> None:
    settings.PUBLIC_URL = ""
    said = {"labels": [labels.kit.code]}
    answer = keeper.post("labels/sheets/", said)
    assert (answer.status_code, answer.json()["code"]) == (409, "public-address-missing")
    assert "GEARROOM_PUBLIC_URL" in answer.json()["detail"]
    preview = keeper.post("labels/sheets/", {**said, "preview": True})
    assert preview.status_code == 200
    texts, words = read(preview.content)
    assert labels.kit.code not in "".join(texts)
    assert "PREVIEW" in words
    assert Label.objects.get(pk=labels.kit.pk).printed_at is None


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"labels": []}, 400, "invalid-request"),
        ({"labels": ["6R4B-5KJ8"]}, 404, "not-found"),
        ({"labels": ["nonsense"]}, 422, "cannot-be-right"),
        ({"sheet": "a0-1x1"}, 422, "cannot-be-right"),
        ({"start_cell": 22}, 422, "cannot-be-right"),
        ({"copies": 101}, 400, "invalid-request"),
        ({"order": "random"}, 400, "invalid-request"),
        ({"offset": {"dx_mm": 11}}, 400, "invalid-request"),
        ({"colour": "red"}, 400, "invalid-request"),
    ],
)
def test_it_says_what_keeps_a_sheet_from_being_printed(
    labels: at.Labelled, keeper: Caller, body: Any, status: int, code: str
) -> None:
    answer = keeper.post("labels/sheets/", {"labels": [labels.kit.code], **body})
    assert (answer.status_code, answer.json()["code"]) == (status, code)


def test_more_labels_than_one_file_holds_are_refused_with_the_limit(
    labels: at.Labelled, keeper: Caller
) -> None:
    codes = [labels.kit.code] * 21
    answer = keeper.post("labels/sheets/", {"labels": codes, "copies": 100})
    assert (answer.status_code, answer.json()["limit"]) == (413, 2000)


def test_a_cancelled_label_is_not_printed(labels: at.Labelled, keeper: Caller) -> None:
    labelling.cancel(make.act(), labels.kit.code, "torn")
    answer = keeper.post("labels/sheets/", {"labels": [labels.kit.code]})
    assert (answer.status_code, answer.json()["code"]) == (409, "label-cancelled")


OWN = {
    "name": "Our roll",
    "page_width_mm": 60.0,
    "page_height_mm": 40.0,
    "columns": 1,
    "rows": 1,
    "cell_width_mm": 60.0,
    "cell_height_mm": 40.0,
    "roll": True,
    "hole": {"diameter_mm": 4.0, "centre_from_top_mm": 4.0},
    "dx_mm": 0.5,
}


def test_a_sheet_of_ones_own_is_checked_kept_and_printed_on(
    labels: at.Labelled, keeper: Caller
) -> None:
    assert keeper.post("labels/layouts/", OWN).status_code == 201
    found = {each["key"]: each for each in keeper.get("labels/layouts/").json()["layouts"]}
    assert found["Our roll"]["own"] is True
    assert found["Our roll"]["dx_mm"] == 0.5
    assert found["a4-3x7"]["cells"] == 21
    answer = keeper.post("labels/sheets/", {"labels": [labels.kit.code], "sheet": "our roll"})
    assert read(answer.content)[0] == [payload(labels.kit)]
    again = keeper.post("labels/layouts/", OWN)
    assert (again.status_code, again.json()["code"]) == (409, "name-taken")


def test_cells_of_a_sheet_without_a_pitch_touch(labels: at.Labelled, keeper: Caller) -> None:
    across = {"roll": False, "columns": 2, "page_width_mm": 120.0}
    made = keeper.post("labels/layouts/", OWN | across)
    assert made.status_code == 201, made.json()
    assert (made.json()["pitch_x_mm"], made.json()["pitch_y_mm"]) == (60.0, 40.0)


@pytest.mark.parametrize(
    ("change", "status", "word"),
    [
        ({"columns": 2, "pitch_x_mm": 60.0}, 422, "right edge"),
        ({"rows": 2, "pitch_y_mm": 10.0}, 422, "overlap"),
        ({"cell_width_mm": 12.0, "cell_height_mm": 12.0, "hole": None}, 422, "at least"),
        ({"cell_width_mm": -5.0}, 400, "cell_width_mm"),
        ({"name": "a4-3x7"}, 409, "Choose another name"),
    ],
)
def test_a_sheet_that_does_not_fit_is_refused_with_what_would(
    labels: at.Labelled,
    keeper: Caller,
    change: dict[str, float] | dict[str, float | None] | dict[str, str],
    status: int,
    word: str,
) -> None:
    answer = keeper.post("labels/layouts/", OWN | {"roll": False} | change)
    assert answer.status_code == status, answer.json()
    assert word in str(answer.json())


def test_a_test_page_and_what_was_measured_on_it_put_the_printer_right(
    labels: at.Labelled, keeper: Caller
) -> None:
    page = keeper.get("labels/test-page/?sheet=a4-3x7")
    assert page.headers["Content-Type"] == "application/pdf"
    measured = "left_mm=15.5&top_mm=14.5&across_mm=100&down_mm=99"
    offset = keeper.get(f"labels/calibration/?sheet=a4-3x7&{measured}").json()
    assert offset["dx_mm"] == -0.5
    assert offset["scale_y"] > 1
    said = {"labels": [labels.kit.code], "offset": offset}
    assert keeper.post("labels/sheets/", said).status_code == 200
    assert keeper.get("labels/calibration/?left_mm=15").status_code == 422


def test_one_label_is_a_picture_at_the_printers_own_dots(
    labels: at.Labelled, keeper: Caller
) -> None:
    for dpi in (203, 300, 600):
        answer = keeper.get(f"labels/{labels.kit.code}/image/?dpi={dpi}")
        image = Image.open(io.BytesIO(answer.content))
        assert round(image.info["dpi"][0]) == dpi
        assert [b.text for b in zxingcpp.read_barcodes(image)] == [payload(labels.kit)]
    svg = keeper.get(f"labels/{labels.kit.code}/image/?form=svg")
    assert svg.headers["Content-Type"] == "image/svg+xml"
    assert b"DAY-01" in svg.content
    assert keeper.get(f"labels/{labels.kit.code}/image/?dpi=72").status_code == 400


# ------------------------------------------------------------------------- tags, cards, sheets
def test_a_kit_gets_its_tag_once_it_is_sealed(labels: at.Labelled, keeper: Caller) -> None:
    world = labels.world
    answer = keeper.get("kits/DAY-01/tag/")
    assert (answer.status_code, answer.json()["code"]) == (409, "not-sealed")
    sorting.look_inside(make.act(), world.day_01)
    sealing.reseal(make.act(world.keeper), world.day_01, "4417")
    answer = keeper.get("kits/DAY-01/tag/")
    assert answer.status_code == 200, answer.content[:300]
    texts, words = read(answer.content)
    assert texts == [payload(labels.kit)]
    first = make.fresh(world.day_01).first_expiry
    assert f"FIRST EXPIRY {present(first).day} {first:%b %Y}".upper() in " ".join(words.split())
    assert "4417" in words
    assert "Kim" in words


def test_a_tag_says_only_what_is_true_at_sealing_so_a_kit_that_is_low_gets_one(
    labels: at.Labelled, keeper: Caller
) -> None:
    world = labels.world
    use.log_use(make.act(), world.day_01, [use.UseLine(world.tablets, 6)])
    sorting.look_inside(make.act(), world.day_01)
    sealing.reseal(make.act(world.keeper), world.day_01, "4417", anyway=True)
    _texts, words = read(keeper.get("kits/DAY-01/tag/").content)
    for word in ("FIT", "UNTIL", "READY", "LOW"):
        assert word not in words.upper(), word


def test_a_lid_card_says_what_is_in_which_pouch_by_which_list_and_no_expiry_date(
    labels: at.Labelled, keeper: Caller
) -> None:
    for size in ("a5", "a4-folded"):
        answer = keeper.get(f"kits/DAY-01/card/?size={size}")
        assert answer.status_code == 200, answer.content[:300]
        texts, words = read(answer.content)
        assert texts == [payload(labels.kit)]
        assert "Wound dressing" in words
        assert "Ines" in words
        assert "Day walk, version 1" in words
        assert words.count(str(make.today().year)) == 1  # the list's
        assert str(make.days(400).year) not in words
    answer = keeper.get("kits/DAY-02/card/")
    assert (answer.status_code, answer.json()["code"]) == (409, "no-label")


def test_the_sign_out_sheet_has_every_kit_with_its_code(
    labels: at.Labelled, keeper: Caller
) -> None:
    answer = keeper.get("rooms/main-store/sign-out-sheet/")
    texts, words = read(answer.content)
    assert texts == [payload(labels.kit)]
    assert "DAY-01" in words
    assert keeper.get("rooms/cave-hut/sign-out-sheet/").status_code == 404


def test_what_is_asked_twice_under_one_key_is_made_once(
    labels: at.Labelled, keeper: Caller
) -> None:
    key = str(uuid.uuid4())
    said = {"blanks": 2, "room": "Main store"}
    first = keeper.post("labels/", said, idempotency_key=key)
    assert keeper.post("labels/", said, idempotency_key=key).json() == first.json()
    assert Label.objects.filter(kind="blank").count() == 3
