"""Counting a shelf without looking at the book, and explaining what differs."""

import re
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.utils import formats
from pytest_django import Settings

from kits.models import Entry, EntryKind
from kits.services.stock import moving
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_the_sheet_does_not_tell_what_the_book_has(world: make.World) -> None:
    for path in (f"/stock/count/{world.shelf.pk}/", f"/stock/count/{world.shelf.pk}/paper/"):
        page = browser(world.guide).get(path)
        assert "D1" in text_of(page)
        assert not re.search(r"\b40\b", text_of(page)), path
        assert 'value="12"' not in page.content.decode()


def test_the_sheet_says_what_is_counted_and_on_paper_whose_it_is(
    world: make.World, settings: Settings
) -> None:
    settings.ORGANISATION = "Umberfell Outdoor School"
    client = browser(world.keeper)

    assert "Pain tablets unit: tablet" in text_of(client.get(f"/stock/count/{world.shelf.pk}/"))
    paper = client.get(f"/stock/count/{world.shelf.pk}/paper/")
    assert "Pain tablets unit: tablet" in text_of(paper)
    day = formats.date_format(make.today(), "j F Y")
    assert f"Umberfell Outdoor School · printed on {day}. This program keeps" in text_of(paper)
    assert "site/styles/parts/print.css" in paper.content.decode()


def counts() -> list[Any]:
    """The counts of shelves that were written."""
    return list(Entry.objects.filter(kind=EntryKind.COUNT, kit__isnull=True))


def counted(client: Client, world: make.World, **found: int) -> Any:
    """The sheet of shelf C2, filled in and compared."""
    fields = form_with(client.get(f"/stock/count/{world.shelf.pk}/"), "began")
    said = {f"lot-{world.lots[name].pk}": str(n) for name, n in found.items()}
    return client.post(f"/stock/count/{world.shelf.pk}/", {**fields, **said})


def test_a_difference_is_explained_before_it_is_written(world: make.World) -> None:
    client, path = browser(world.guide), f"/stock/count/{world.shelf.pk}/"
    answer = counted(client, world, d1=10, shears=5, tablets=40, gauge=1)
    assert "1 difference. Nothing is saved yet." in text_of(answer)
    assert "Counted 10 , on record 12 ." in text_of(answer)
    assert not counts()
    fields = form_with(answer, 'name="write"')

    refused = client.post(path, {**fields, "write": "1"})
    assert "Choose a reason for each difference" in text_of(refused)
    why = {f"why-lot-{world.dressings.pk}": "used", f"note-lot-{world.dressings.pk}": "by Gil"}
    fields = form_with(refused, 'name="write"')
    client.post(path, {**fields, **why, "write": "1"})

    (entry,) = counts()
    assert make.units(world.dressings, world.shelf) == 10
    assert entry.detail["explained"] == {
        str(world.dressings.pk): ("Used without being recorded: by Gil")
    }
    assert entry.detail["complete"] is True


def test_what_is_left_empty_stays_as_the_book_has_it(world: make.World) -> None:
    client = browser(world.guide)
    answer = counted(client, world, d1=12)
    assert "3 batches were not counted" in text_of(answer)
    fields = form_with(answer, 'name="write"')

    client.post(f"/stock/count/{world.shelf.pk}/", {**fields, "write": "1"})

    assert make.units(world.lots["tablets"], world.shelf) == 40
    (entry,) = counts()
    assert entry.detail["complete"] is False


def test_something_else_found_on_the_shelf_becomes_a_batch_of_it(world: make.World) -> None:
    client, path = browser(world.guide), f"/stock/count/{world.shelf.pk}/"
    fields = form_with(client.get(path), "began")
    said = {"thing-0": "Wound dressing 10 × 12", "number-0": "D7", "printed-0": "2031-02"}
    answer = client.post(path, {**fields, **said, "units-0": "4"})
    assert not world.dressing.lots.filter(number="D7").exists()
    assert "batch D7, good until 28 February 2031" in text_of(answer)
    fields = form_with(answer, 'name="write"')

    client.post(path, {**fields, "why-else-0": "arrived", "write": "1"})

    lot = world.dressing.lots.get(number="D7")
    assert present(lot.expiry).isoformat() == "2031-02-28"
    assert make.units(lot, world.shelf) == 4


def test_each_label_that_is_scanned_counts_one_more_of_its_batch(world: make.World) -> None:
    client, path = browser(world.guide), f"/stock/count/{world.shelf.pk}/"
    other = make.some(world.dressing, world.upper, 3, "D9", make.days(200))
    here, strange = (scanned.shown(scanned.label(lot, world)) for lot in (world.dressings, other))

    fields = form_with(client.get(path), "began")
    for text in (here, strange, here, strange):
        answer = client.post(path, {**fields, "read": "1", "batch": text})
        fields = form_with(answer, "began")

    assert "One more: Wound dressing 10 × 12, batch D9." in text_of(answer)
    assert fields[f"lot-{world.dressings.pk}"] == "2"
    line = {name: fields[f"{name}-0"] for name in ("thing", "number", "printed", "units")}
    assert line == {
        "thing": "Wound dressing 10 × 12",
        "number": "D9",
        "printed": present(other.expiry).isoformat(),
        "units": "2",
    }
    compared = client.post(path, {**fields, "batch": ""})
    assert "Counted 2 , on record 12 ." in text_of(compared)


def test_what_moved_while_somebody_counted_is_pointed_out(world: make.World) -> None:
    client, path = browser(world.guide), f"/stock/count/{world.shelf.pk}/"
    fields = form_with(client.get(path), "began")
    moving.move(make.act(), lot=world.dressings, units=2, source=world.shelf, target=world.upper)

    answer = client.post(path, {**fields, f"lot-{world.dressings.pk}": "12"})

    assert "moved while you were counting" in text_of(answer)


def test_an_empty_sheet_is_no_count(world: make.World) -> None:
    answer = counted(browser(world.guide), world)

    assert answer.status_code == 400
    assert "Nothing has been counted yet" in text_of(answer)


def test_that_nothing_else_is_there_is_said_by_a_tick(world: make.World) -> None:
    client, path = browser(world.guide), f"/stock/count/{world.upper.pk}/"
    fields = form_with(client.get(path), "began")
    assert "rest" not in fields

    answer = client.post(path, {**fields, "rest": "none"})
    assert "Counted 0 , on record 10 ." in text_of(answer)
    assert "not counted" not in text_of(answer)
    fields = form_with(answer, 'name="write"')
    why = {f"why-lot-{world.lots['d2'].pk}": "shelf"}
    client.post(path, {**fields, **why, "write": "1"})

    assert make.units(world.lots["d2"], world.upper) == 0
    assert Entry.objects.latest("id").detail["complete"] is True
