"""Old editions of documents in kits are named, and replaced by the current one."""

import uuid
from datetime import date

import pytest

from kits.models import Item, Lot, PlaceKind
from kits.rules.ledger.facts import Kind
from kits.services.ledger import audit
from kits.services.ledger.book import room_place
from kits.services.restocking import sorting
from kits.services.rotation.editions import OldEdition, old_in
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, section
from tests.site.browsing import browser, post, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def w() -> World:
    made = make.world()
    made.named = {"notes": make.item("First aid notes", Kind.DOCUMENT, needs_date=False)}
    made.lots["old"] = make.some(made.named["notes"], made.shelf, 4, "2024")
    make.put_in(made.day_01, made.lots["old"], made.shelf, 1)
    return made


def new(w: World, number: str = "2026", units: int = 5) -> Lot:
    return make.some(w.named["notes"], w.upper, units, number)


def old(w: World) -> list[OldEdition]:
    return old_in([fresh(w.day_01)])


def test_it_is_named_only_once_there_is_a_newer_one(w: World) -> None:
    assert old(w) == []
    lot = new(w)
    (row,) = old(w)
    assert (row.lot, row.current, row.units, row.shelf) == (w.lots["old"], lot, 1, w.upper)


def test_one_that_is_recalled_or_set_aside_is_not_the_current_one(w: World) -> None:
    make.some(w.named["notes"], room_place(w.store, PlaceKind.TRAINING), 3, "2030")
    assert old(w) == []


def test_a_leaflet_without_a_number_that_came_with_a_bought_kit_replaces_nothing(w: World) -> None:
    new(w, number="")
    assert old(w) == []


def test_restocking_puts_in_the_current_edition_first_or_none(w: World) -> None:
    lot = new(w)
    version = make.kit_list(
        "Notes", {"main": [(w.named["notes"], 2, 0, make.Criticality.ROUTINE)]}, w.adviser
    )
    kit = make.kit("NOTES-01", version, w.store)
    sorting.restock(act(w.keeper), kit)
    assert make.units(lot, section(kit)) == 2
    assert make.units(w.lots["old"], section(kit)) == 0


def test_it_is_replaced_by_one_tap_and_the_old_one_is_set_aside(w: World) -> None:
    lot, client, key = new(w), browser(w.guide), uuid.uuid4()
    item = w.named["notes"].pk
    address = f"/stock/{item}/"
    for page in ("/kits/DAY-01/", address):
        text = text_of(client.get(page))
        assert "Old editions in kits" in text
        assert "edition 2024" in text
    rows = f"{w.lots['old'].pk}.{lot.pk}.{section(w.day_01).pk}.{w.upper.pk}.1"
    for _ in range(2):
        assert post(client, "/kits/DAY-01/swap/", key, rows=rows, to=address).status_code == 302
    assert make.units(lot, section(w.day_01)) == 1
    assert make.units(w.lots["old"], room_place(w.store, PlaceKind.QUARANTINE)) == 1
    assert "Old editions" not in text_of(client.get("/kits/DAY-01/"))
    assert list(audit.findings()) == []


def test_a_document_is_received_and_listed_by_its_edition_and_until_when_it_is_valid(
    w: World,
) -> None:
    client, item = browser(w.keeper), w.named["notes"]
    make.some(item, w.upper, 2, "2026", date(2031, 3, 31))
    form = text_of(client.get(f"/stock/receive/?item={item.pk}"))
    assert "Edition, such as 2026 or 3" in form
    assert "Valid until, if it says so" in form
    assert "LOT" not in form
    listed = text_of(client.get(f"/stock/{item.pk}/"))
    assert "edition 2026, valid until 31 March 2031" in listed
    assert "edition 2024" in listed
    assert "batch 2024" not in listed


def test_without_one_on_a_shelf_here_it_says_what_to_do(w: World) -> None:
    make.some(w.named["notes"], w.hut_shelf, 5, "2026")
    text = text_of(browser(w.keeper).get("/kits/DAY-01/"))
    assert "print or receive one first" in text
    assert Item.objects.filter(kind="document").count() == 1
