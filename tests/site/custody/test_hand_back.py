"""Handing back by its page: the very batch, what is wrong with a photo, all kept on a slip."""

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image
from pytest_django import Settings

from kits.models import Entry, Movement, Photo, WithheldKind
from kits.services.custody import custody
from kits.services.kits import holds
from kits.services.ledger.undo import reversal
from tests.kits import again, factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

BACK = "/kits/DAY-01/hand-back/"
GPS = 0x8825


@pytest.fixture
@again.kept
def school() -> scanned.Labelled:
    made = scanned.labelled()
    custody.check_out(make.act(made.world.keeper), made.world.day_01, person=made.world.guide)
    return made


def values_in(page: Any) -> dict[Any, Any]:
    """The numbers that stand in the tiles of a page."""
    tiles = re.findall(r'name="((?:used|lot)-\d+)"[^>]*value="([^"]*)"', page.content.decode())
    return {name: value for name, value in tiles if value != "0"}


def snapshot(
    size: tuple[int, int] = (2400, 1200), kind: str = "JPEG", **more: Image.Exif
) -> SimpleUploadedFile:
    """A photo as a phone sends it."""
    out = io.BytesIO()
    Image.new("RGB", size, "#a33").save(out, kind, **more)
    return SimpleUploadedFile(f"photo.{kind.lower()}", out.getvalue())


# ---------------------------------------------------------------------------------- the very batch
def test_a_batch_that_is_scanned_gets_a_tile_and_is_counted_once(school: scanned.Labelled) -> None:
    world, client = school.world, browser(school.world.guide)
    said = {"sharps": "no", "opened": "1", f"used-{world.shears.pk}": "1"}

    page = post(client, BACK, **said, read="1", batch=scanned.shown(school.lot))
    again = post(client, BACK, **(said | values_in(page)), read="1", batch=school.lot.code)

    batch = f"lot-{world.dressings.pk}"
    assert values_in(page) == {f"used-{world.shears.pk}": "1", batch: "1"}
    assert values_in(again)[batch] == "2"
    assert not Entry.objects.filter(kind="check-in").exists()


def test_what_is_handed_back_by_its_batch_is_certain_and_by_a_tap_is_assumed(
    school: scanned.Labelled,
) -> None:
    world = school.world
    fields = {"sharps": "no", f"lot-{world.dressings.pk}": "2", f"used-{world.tablets.pk}": "1"}

    post(browser(world.guide), BACK, **fields)

    used = Movement.objects.filter(entry__kind="use").order_by("units")
    assert list(used.values_list("lot__item__name", "units", "lot_assumed")) == [
        ("Pain tablets", 1, True),
        ("Wound dressing 10 × 12", 2, False),
    ]


def test_a_photo_of_the_label_says_the_batch_too(
    school: scanned.Labelled, settings: Settings
) -> None:
    settings.PUBLIC_URL = scanned.ADDRESS
    picture = SimpleUploadedFile("label.png", scanned.png_of(school.lot))

    page = post(browser(school.world.guide), BACK, sharps="no", read="1", image=picture)

    assert values_in(page) == {f"lot-{school.world.dressings.pk}": "1"}


@pytest.mark.parametrize(
    ("read", "told"),
    [
        (lambda s: s.kit.code, "This is not a batch label."),
        (lambda s: scanned.wrong(s.lot.code), "code"),
        (lambda s: "hello", "This is not a batch label."),
    ],
)
def test_a_label_of_something_else_is_told_and_nothing_that_was_counted_is_lost(
    school: scanned.Labelled, read: Callable[[Any], Any] | Callable[[Any], str], told: str
) -> None:
    world = school.world
    fields = {"sharps": "no", f"used-{world.dressing.pk}": "3", "read": "1", "wrong": "zip torn"}

    page = post(browser(world.guide), BACK, **fields, batch=read(school))

    assert page.status_code == 422
    assert told in text_of(page)
    assert values_in(page) == {f"used-{world.dressing.pk}": "3"}
    assert 'value="zip torn"' in page.content.decode()


def test_with_the_script_the_tiles_alone_come_back(school: scanned.Labelled) -> None:
    page = browser(school.world.guide).post(
        BACK,
        {"sharps": "no", "read": "1", "batch": school.lot.code},
        headers={"HX-Request": "true"},
    )

    assert values_in(page) == {f"lot-{school.world.dressings.pk}": "1"}
    assert "<html" not in page.content.decode()


def test_a_number_that_is_none_leaves_the_rest_of_the_form_as_it_was(
    school: scanned.Labelled,
) -> None:
    world = school.world
    fields = {f"used-{world.dressing.pk}": "two", f"used-{world.shears.pk}": "1"}

    page = post(browser(world.guide), BACK, sharps="no", **fields)

    assert page.status_code == 400
    assert values_in(page) == fields


# --------------------------------------------------------------------------------- something wrong
def test_what_is_wrong_is_shown_on_the_kit_with_its_photo(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)

    post(client, BACK, sharps="no", wrong="zip torn", photo=snapshot())

    page = client.get("/kits/DAY-01/").content.decode()
    assert "zip torn" in page
    picture = client.get(present(re.search(r'<img class="photo"\s+src="([^"]+)"', page))[1])
    assert picture["Content-Type"] == "image/jpeg"
    assert max(Image.open(io.BytesIO(picture.content)).size) == 1600


def test_a_photo_is_kept_without_where_it_was_taken(school: scanned.Labelled) -> None:
    exif = Image.Exif()
    exif.get_ifd(GPS)[1] = "N"
    exif[0x0112] = 6  # lies on its side

    post(browser(school.world.guide), BACK, sharps="no", photo=snapshot((60, 30), exif=exif))

    kept = Image.open(io.BytesIO(bytes(Photo.objects.get().jpeg)))
    assert kept.size == (30, 60)
    assert not kept.getexif()


def test_a_file_that_is_no_picture_is_refused_and_nothing_is_written(
    school: scanned.Labelled,
) -> None:
    page = post(
        browser(school.world.guide),
        BACK,
        sharps="no",
        photo=SimpleUploadedFile("photo.jpg", b"not a picture at all"),
    )

    assert page.status_code == 415
    assert "picture cannot be read" in text_of(page)
    assert not Entry.objects.filter(kind="check-in").exists()


def test_a_photo_is_shown_to_the_kits_rooms_alone(school: scanned.Labelled) -> None:
    post(browser(school.world.guide), BACK, sharps="no", wrong="torn", photo=snapshot())
    path = f"/kits/DAY-01/photos/{Photo.objects.get().pk}/"

    assert browser(school.world.keeper).get(path).status_code == 200
    assert browser(school.world.stranger).get(path).status_code == 404
    assert browser(school.world.keeper).get("/kits/DAY-02/photos/1/").status_code == 404


def test_what_was_settled_or_taken_back_shows_no_photo_any_more(school: scanned.Labelled) -> None:
    world, client = school.world, browser(school.world.keeper)
    post(client, BACK, sharps="no", wrong="torn", photo=snapshot())
    holds.release(make.act(world.keeper), world.day_01, WithheldKind.SOMETHING_WRONG)
    post(client, BACK, sharps="no", wrong="wet")
    assert '<img class="photo"' not in client.get("/kits/DAY-01/").content.decode()

    back = Entry.objects.filter(kind="check-in").latest("id")
    reversal.reverse(make.act(world.keeper), back.pk)
    assert "Photo" in text_of(client.get("/kits/DAY-01/"))  # it stays in what happened


def test_saying_that_something_is_wrong_takes_a_photo_too(school: scanned.Labelled) -> None:
    fields = {"kind": "something-wrong", "note": "strap gone", "photo": snapshot(kind="PNG")}

    post(browser(school.world.guide), "/kits/DAY-01/withhold/", **fields)

    assert Photo.objects.get().entry.reason == "strap gone"


# -------------------------------------------------------------------------- more than on record
def tile(page: str, name: str) -> str:
    start = page.index(f'id="{name}"')
    return page[page.rindex('<div class="tile"', 0, start) : page.index("</p>", start)]


def test_more_than_is_on_record_is_said_on_the_page_and_still_recorded(
    school: scanned.Labelled,
) -> None:
    world, client = school.world, browser(school.world.guide)
    name = f"used-{world.shears.pk}"

    page = client.get(f"{BACK}?opened=1&sharps=no").content.decode()
    assert 'data-on-record="1"' in tile(page, name)
    assert '<p class="beyond" hidden>' in tile(page, name)

    fields = {"sharps": "no", "opened": "1", name: "2"}
    again_ = post(client, BACK, **fields, read="1", batch="nonsense").content.decode()
    assert '<p class="beyond">' in tile(again_, name)
    assert "On record in this kit: 1. If more were used, save it anyway." in tile(again_, name)

    post(client, BACK, **fields)
    said = text_of(client.get("/kits/DAY-01/sort/"))
    assert (
        "2 items used. 1 more than was on record in the kit: undo this if it is a mistake." in said
    )


def test_no_more_than_is_on_record_says_nothing_of_it(school: scanned.Labelled) -> None:
    world, client = school.world, browser(school.world.guide)

    post(client, BACK, sharps="no", opened="1", **{f"used-{world.shears.pk}": "1"})

    said = text_of(client.get("/kits/DAY-01/sort/"))
    assert "1 item used." in said and "on record in the kit" not in said


def test_with_one_pouch_the_rest_is_called_more_items(school: scanned.Labelled) -> None:
    page, client = f"{BACK}?opened=1&sharps=no", browser(school.world.guide)
    one = text_of(client.get(page))  # all of the pouch is among the likely ones
    pouch = school.world.version.sections.get(key="pouch")
    wipes = make.item("Wipes", by_eye=True, needs_date=False)
    pouch.lines.create(item=wipes, carry=1, never_below=0, criticality="routine")

    assert "More items" in one
    assert "More items" not in text_of(client.get(page))
