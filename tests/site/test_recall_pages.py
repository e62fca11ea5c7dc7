"""The pages of recalls: recorded, followed, answered, closed."""

from __future__ import annotations

import pytest
from django.core.cache import cache

from kits.models import Recall, RecallPlace
from kits.services import custody, recalls
from kits.services.use import UseLine
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture(autouse=True)
def _no_tries_yet():
    cache.clear()


@pytest.fixture
def world():
    return make.world()


def test_a_recall_runs_from_its_record_to_its_end(world):
    custody.check_out(make.act(), world.day_01, person=world.guide)
    client = browser(world.keeper)
    said = {"item": world.dressing.name, "scope": "number", "number": "d1", "reference": "FSN 7"}

    answer = post(client, "/stock/recalls/", **said)
    recall = Recall.objects.get()
    assert answer["Location"] == f"/stock/recalls/{recall.pk}/"
    page = client.get(answer["Location"])
    words = text_of(page)
    assert words.index("Certainly") < words.index("DAY-01") < words.index("Maybe")
    assert "Gil has it" in words
    assert "12 Quarantine" in words or "12 quarantine" in words
    row = RecallPlace.objects.get(place__kit=world.day_01)

    post(client, f"/stock/recalls/{recall.pk}/told/", row=row.pk)
    assert "Told" in text_of(client.get(answer["Location"]))
    mine = browser(world.guide)
    assert "DAY-01" in text_of(mine.get(answer["Location"]))
    post(mine, f"/stock/recalls/{recall.pk}/answer/", row=row.pk, answer="will-look")
    assert "1 place has not answered" in text_of(client.get(answer["Location"]))
    post(mine, f"/stock/recalls/{recall.pk}/answer/", row=row.pk, answer="taken-out", removed=6)

    assert "Every place in your view has answered" in text_of(client.get(answer["Location"]))
    assert make.units(world.dressings, make.section(world.day_01)) == 0
    post(client, f"/stock/recalls/{recall.pk}/close/")
    assert Recall.objects.get().closed is not None
    assert "Closed" in text_of(client.get("/stock/recalls/"))


def test_a_kit_that_maybe_holds_it_stands_apart(world):
    make.put_in(world.day_02, world.dressings, world.shelf, 3)
    custody.check_in(make.act(), world.day_01, used=[UseLine(world.dressing, 2)])
    make.put_in(world.day_01, world.lots["d2"], world.upper, 2)
    custody.check_in(make.act(), world.day_01, used=[UseLine(world.dressing, 4)])
    recall = recalls.start(make.act(), item=world.dressing, scope="number", number="D1")

    page = text_of(browser(world.keeper).get(f"/stock/recalls/{recall.pk}/"))

    rows = RecallPlace.objects.filter(recall=recall)
    for row in rows:
        part = page[page.index("Certainly") : page.index("Maybe")]
        apart = page[page.index("Maybe") :]
        name = row.place.kit.name if row.place.kit else row.place.name
        assert name in (part if row.certainty == "certain" else apart)
    assert {row.certainty for row in rows} == {"certain", "maybe"}


def test_a_recall_shows_a_stranger_none_of_our_places(world):
    recall = recalls.start(make.act(), item=world.dressing, scope="all")

    page = text_of(browser(world.stranger).get(f"/stock/recalls/{recall.pk}/"))

    assert "DAY-01" not in page
    assert "Close the recall" not in page


def test_a_recall_without_its_number_says_what_is_wanted(world):
    answer = post(
        browser(world.keeper), "/stock/recalls/", item=world.dressing.name, scope="number"
    )

    assert answer.status_code == 400
    assert "Give the maker&#x27;s lot number" in answer.content.decode()
    assert 'name="item"' in answer.content.decode()
