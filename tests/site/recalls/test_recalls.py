"""The pages of recalls: recorded, followed, answered, closed."""

import pytest
from django.core.cache import cache

from kits.models import Holding, Item, Recall, RecallPlace
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.recalls import closing, recalls
from kits.services.stock import catalogue, disposing
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_a_recall_runs_from_its_record_to_its_end(world: make.World) -> None:
    custody.check_out(make.act(), world.day_01, person=world.guide)
    client = browser(world.keeper)
    said = {"item": world.dressing.name, "scope": "number", "number": "d1", "reference": "FSN 7"}

    answer = post(client, "/stock/recalls/", **said)
    recall = Recall.objects.get()
    assert answer["Location"] == f"/stock/recalls/{recall.pk}/"
    page = client.get(answer["Location"])
    words = text_of(page)
    assert (
        words.index("Certainly had the batch")
        < words.index("DAY-01")
        < words.index("May have had the batch")
    )
    assert "Gil has it" in words
    assert "12 Quarantine" in words or "12 quarantine" in words
    row = RecallPlace.objects.get(place__kit=world.day_01)

    post(client, f"/stock/recalls/{recall.pk}/told/", row=row.pk)
    assert "Notified" in text_of(client.get(answer["Location"]))
    mine = browser(world.guide)
    assert "DAY-01" in text_of(mine.get(answer["Location"]))
    post(mine, f"/stock/recalls/{recall.pk}/answer/", row=row.pk, answer="will-look")
    assert "1 place has not been checked yet" in text_of(client.get(answer["Location"]))
    post(mine, f"/stock/recalls/{recall.pk}/answer/", row=row.pk, answer="taken-out", removed=6)

    assert "Every place that you can see has been checked" in text_of(
        client.get(answer["Location"])
    )
    assert make.units(world.dressings, make.section(world.day_01)) == 0
    words = text_of(client.get(answer["Location"]))
    assert "18 units are in quarantine: return them to the maker" in words
    close = f"/stock/recalls/{recall.pk}/close/"
    assert "Mark the recall as finished" not in text_of(client.get(answer["Location"]))
    assert post(client, close, outcome="finished", reason="done").status_code == 403
    client = browser(world.adviser)
    refusal = post(client, close, outcome="finished")
    assert refusal.status_code == 409
    assert "Not everything is accounted for" in text_of(refusal)
    post(client, close, outcome="finished", reason="the maker fetched it")
    assert Recall.objects.get().outcome == "finished"
    assert "stays blocked" in text_of(client.get("/stock/recalls/"))
    words = text_of(client.get(answer["Location"]))
    assert "the maker fetched it" in words
    assert "Mark the recall as finished" not in words


def test_a_recall_with_everything_accounted_for_is_finished_in_one_tap(world: make.World) -> None:
    recall = recalls.start(make.act(), item=world.gauge, scope="all")
    gone = stock_of(world.gauge)
    disposing.dispose(make.act(), place=gone.place, lot=gone.lot, units=1)
    client = browser(world.adviser)
    words = text_of(client.get(f"/stock/recalls/{recall.pk}/"))
    assert "Everything is accounted for" in words
    assert "finishing the recall anyway" not in words
    post(client, f"/stock/recalls/{recall.pk}/close/", outcome="finished")
    assert Recall.objects.get().outcome == "finished"


def test_a_withdrawn_recall_is_put_back_onto_a_shelf_and_may_be_opened_again(
    world: make.World,
) -> None:
    recall = recalls.start(make.act(), item=world.dressing, scope="number", number="D1")
    client, path = browser(world.keeper), f"/stock/recalls/{recall.pk}/"
    withdrawn = {"outcome": "withdrawn", "published_at": "maker.example/7"}
    post(browser(world.adviser), f"{path}close/", **withdrawn)
    words = text_of(client.get(path))
    assert "maker.example/7" in words
    post(client, f"{path}put-back/", shelf=str(world.upper.pk))
    assert make.units(world.dressings, world.upper) == 12
    assert "There are no units in quarantine" in text_of(client.get(path))
    post(client, f"{path}reopen/")
    assert make.units(world.dressings, world.upper) == 0
    assert "Mark the recall as finished" in text_of(browser(world.adviser).get(path))


def test_a_pack_of_a_recalled_batch_that_is_new_here_is_known_on_the_receiving_page(
    world: make.World,
) -> None:
    catalogue.put_pack_code(make.act(), world.dressing, gtin="04000000000006", units_per_pack=5)
    recall = recalls.start(make.act(), item=world.dressing, scope="number", number="NEW")
    closing.close(make.act(reason="told to"), recall, "finished")
    code = "(01)04000000000006(17)" + make.days(500).strftime("%y%m%d") + "(10)NEW"
    page = text_of(browser(world.keeper).get("/stock/receive/", {"text": code}))
    assert "The maker has recalled this batch: it goes to quarantine" in page


def stock_of(item: Item) -> Holding:
    return Holding.objects.select_related("place", "lot__item").get(lot__item=item, units__gt=0)


def test_a_kit_that_maybe_holds_it_stands_apart(world: make.World) -> None:
    make.put_in(world.day_02, world.dressings, world.shelf, 3)
    custody.check_in(make.act(), world.day_01, used=[UseLine(world.dressing, 2)])
    make.put_in(world.day_01, world.lots["d2"], world.upper, 2)
    custody.check_in(make.act(), world.day_01, used=[UseLine(world.dressing, 4)])
    recall = recalls.start(make.act(), item=world.dressing, scope="number", number="D1")

    page = text_of(browser(world.keeper).get(f"/stock/recalls/{recall.pk}/"))

    rows = RecallPlace.objects.filter(recall=recall)
    for row in rows:
        part = page[page.index("Certainly had the batch") : page.index("May have had the batch")]
        apart = page[page.index("May have had the batch") :]
        name = row.place.kit.name if row.place.kit else row.place.name
        assert name in (part if row.certainty == "certain" else apart)
    assert {row.certainty for row in rows} == {"certain", "maybe"}


def test_a_recall_shows_a_stranger_none_of_our_places(world: make.World) -> None:
    recall = recalls.start(make.act(), item=world.dressing, scope="all")

    page = text_of(browser(world.stranger).get(f"/stock/recalls/{recall.pk}/"))

    assert "DAY-01" not in page
    assert "Mark the recall as finished" not in page


def test_a_recall_without_its_number_says_what_is_wanted(world: make.World) -> None:
    answer = post(
        browser(world.keeper), "/stock/recalls/", item=world.dressing.name, scope="number"
    )

    assert answer.status_code == 400
    assert "Enter the maker’s lot number" in answer.content.decode()
    assert 'name="item"' in answer.content.decode()
