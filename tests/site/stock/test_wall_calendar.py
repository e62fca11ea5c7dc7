"""The wall calendar on its page and as PDF."""

import pytest
from django.utils import timezone
from pytest_django import Settings

from kits.models import Kit
from kits.services.text import calendar_texts
from tests.kits import factories as make
from tests.labels.printing.printed import texts
from tests.site.browsing import browser, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

ADDRESS = "/rooms/main-store/wall-calendar/"


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_it_is_two_taps_from_the_board(world: make.World) -> None:
    client = browser(world.guide)
    assert f'href="{ADDRESS}"' in client.get("/").content.decode()
    page = client.get(ADDRESS).content.decode()
    assert all(f'name="paper" value="{paper}"' in page for paper in ("a3", "a4", "letter"))


def test_it_says_of_when_it_is_and_to_check_the_tag(world: make.World) -> None:
    text = text_of(browser(world.guide).get(ADDRESS))
    assert "As of" in text
    assert str(calendar_texts.GROWS_OLD) in text
    assert "DAY-01: Pain tablets" in text


@pytest.mark.parametrize("paper", ["a3", "a4", "letter"])
def test_the_page_and_the_paper_list_the_same(
    world: make.World, settings: Settings, paper: str
) -> None:
    settings.PUBLIC_URL = ""
    client = browser(world.guide)
    page, answer = text_of(client.get(ADDRESS)), client.get(ADDRESS, {"paper": paper})
    assert answer["Content-Type"] == "application/pdf"
    sheet = " ".join(texts(answer.content))
    assert "DAY-01: Pain tablets" in sheet
    assert sheet.count("DAY-01:") == page.count("DAY-01:")


def test_a_room_without_kits_has_twelve_months_with_nothing_in_them(world: make.World) -> None:
    Kit.objects.update(retired_on=make.today())
    text = text_of(browser(world.guide).get(ADDRESS))
    assert text.count("Nothing on record") == 12


@pytest.mark.parametrize("left_out", ["training", "lost"])
def test_training_and_lost_kits_are_left_out(world: make.World, left_out: str) -> None:
    change: dict[str, object] = (
        {"training": True} if left_out == "training" else {"lost_since": timezone.now()}
    )
    Kit.objects.filter(pk=world.day_01.pk).update(**change)
    assert "DAY-01:" not in text_of(browser(world.guide).get(ADDRESS))


def test_a_room_of_others_is_not_there(world: make.World) -> None:
    assert browser(world.stranger).get(ADDRESS).status_code == 404
    assert browser(world.guide).get("/rooms/cave-hut/wall-calendar/").status_code == 404
    assert make.caller(world.guide).get("rooms/cave-hut/wall-calendar/").status_code == 404
    answer = make.caller(world.guide).get("rooms/main-store/wall-calendar/?paper=a3")
    assert answer["Content-Type"] == "application/pdf"


def test_paper_that_there_is_not_is_the_page(world: make.World) -> None:
    answer = browser(world.guide).get(ADDRESS, {"paper": "a9"})
    assert answer["Content-Type"].startswith("text/html")
