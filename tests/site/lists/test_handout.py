"""A kit list as a handout: lines with reasons, how pouches are packed, and what is not carried."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.models import ItemNeed, ListLine, Need, NotCarried, PackingListVersion, Photo
from kits.services.ledger.undo import reversal
from kits.services.text.planning.planning_texts import CAUTION
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import browser, post, text_of
from tests.site.custody.test_hand_back import snapshot

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

HANDOUT, SEAL = "/lists/1/1/handout/", "/kits/DAY-01/seal/"


@pytest.fixture
def world() -> make.World:
    return scanned.labelled().world


def test_it_says_what_is_in_each_pouch_why_and_for_whom(world: make.World) -> None:
    ListLine.objects.filter(item=world.dressing).update(reason="bleeding, far from help")
    need = Need.objects.get(key="large-wound")
    ItemNeed.objects.create(item=world.dressing, need=need, needs_training=True)
    NotCarried.objects.create(
        version=world.version, item=world.gauge, why="no-training", words="nobody can read it",
        instead="count breaths", trained="Ada alone",
    )  # fmt: skip
    text = text_of(browser(world.guide).get(HANDOUT))
    for part in (
        "10 people",
        "1 day",
        "bleeding, far from help",
        "only for somebody trained for: large wound",
        "must-have",
        "loose",
        "nobody can read it",
        "count breaths",
        "Ada alone",
        str(CAUTION),
    ):
        assert part in text, part


def test_without_photos_it_has_no_pictures_and_an_empty_list_says_so(world: make.World) -> None:
    assert "<figure" not in browser(world.guide).get(HANDOUT).content.decode()
    PackingListVersion.objects.get(pk=world.version.pk).sections.all().delete()
    assert "no items on this list yet" in text_of(browser(world.guide).get(HANDOUT))


def test_a_photo_taken_when_sealing_stands_at_its_pouch_with_kit_and_day(
    world: make.World,
) -> None:
    client = browser(world.guide)
    post(client, SEAL, seal="0418", **{"packed-main": snapshot()})
    assert Photo.objects.get().section == make.section(world.day_01)
    page = client.get(HANDOUT).content.decode()
    picture = f"/kits/DAY-01/photos/{Photo.objects.get().pk}/"
    assert page.count("<figure") == 1
    assert f'src="{picture}"' in page
    assert client.get(picture)["Content-Type"] == "image/jpeg"
    assert "DAY-01" in text_of(client.get(HANDOUT))


def test_the_newest_stands_and_what_was_taken_back_does_not(world: make.World) -> None:
    client = browser(world.guide)
    post(client, SEAL, seal="0418", **{"packed-main": snapshot()})
    post(client, SEAL, seal="0419", **{"packed-main": snapshot()})
    old, new = Photo.objects.order_by("pk")
    assert f"photos/{new.pk}/" in client.get(HANDOUT).content.decode()
    reversal.reverse(make.act(world.keeper), new.entry_id)
    assert f"photos/{old.pk}/" in client.get(HANDOUT).content.decode()


def test_people_of_another_room_get_the_list_without_the_pictures(world: make.World) -> None:
    post(browser(world.guide), SEAL, seal="0418", **{"packed-main": snapshot()})
    page = browser(world.stranger).get(HANDOUT).content.decode()
    assert "Wound dressing" in page
    assert "<figure" not in page
    assert "DAY-01" not in page


def test_a_file_that_is_no_picture_seals_nothing(world: make.World) -> None:
    wrong = SimpleUploadedFile("photo.jpg", b"not a picture")
    answer = post(browser(world.guide), SEAL, seal="0418", **{"packed-main": wrong})
    assert answer.status_code == 415
    assert not Photo.objects.exists()
    assert make.fresh(world.day_01).seals.count() == 0


def test_sealing_offers_a_photo_of_each_pouch_and_needs_none(world: make.World) -> None:
    client = browser(world.guide)
    page = client.get("/kits/DAY-01/sort/").content.decode()
    assert 'name="packed-main"' in page
    assert 'name="packed-pouch"' in page
    assert present(post(client, SEAL, seal="0418")).status_code == 302
    assert not Photo.objects.exists()
