"""What the weekly email says of old editions of documents in kits."""

import pytest
from pytest_django import Settings

from kits.models import Lot
from kits.rules.ledger.facts import Kind
from kits.services.restocking import sorting
from kits.services.stock import shelves
from tests.kits import factories as make
from tests.kits.factories import World, act
from tests.kits.mail.weeks import said, text_of, used
from tests.kits.weather.cold import van

pytestmark = pytest.mark.django_db
REPLACE = "× First aid notes: replace edition 2024 with edition 2026 from C3."


@pytest.fixture
def notes(w: World) -> Lot:
    """DAY-01 has the edition of 2024; that of 2026 is on the upper shelf."""
    item = make.item("First aid notes", Kind.DOCUMENT, needs_date=False)
    make.put_in(w.day_01, make.some(item, w.shelf, 4, "2024"), w.shelf, 1)
    return make.some(item, w.upper, 5, "2026")


def test_kits_that_are_not_opened_for_anything_else_share_a_row_where_they_are_alike(
    w: World, notes: Lot
) -> None:
    other = make.kit("DAY-03", w.version, w.store, responsible=w.instructor)
    sorting.restock(act(w.keeper), other)
    make.put_in(other, Lot.objects.get(number="2024"), w.shelf, 2)
    text = said(text_of(w))
    assert "OLD EDITIONS TO REPLACE" in text.split(REPLACE)[0]
    assert f"DAY-01, DAY-03: 3 {REPLACE}" in text
    assert text.count(REPLACE) == 1
    assert f"/stock/{notes.item_id}/#editions" in text
    shelves.edit_shelf(act(w.keeper), w.upper, location=van(w))
    assert "with edition 2026 from C3 (Van 2)." in said(text_of(w))


def test_it_links_to_the_editions_of_the_document_or_nowhere_without_a_web_address(
    w: World, notes: Lot, settings: Settings
) -> None:
    settings.PUBLIC_URL = ""
    assert "#editions" not in text_of(w)
    settings.PUBLIC_URL = "https://gear.example.org"
    assert f"https://gear.example.org/stock/{notes.item_id}/#editions" in text_of(w)


def test_an_edition_without_a_number_is_named_as_one(w: World) -> None:
    item = make.item("First aid notes", Kind.DOCUMENT, needs_date=False)
    make.put_in(w.day_01, make.some(item, w.shelf, 4, ""), w.shelf, 1)
    make.some(item, w.upper, 5, "2026")
    line = "1 × First aid notes: replace an edition without a number with edition 2026 from C3."
    assert line in said(text_of(w))


def test_of_a_kit_that_is_opened_anyway_it_stands_with_what_else_is_done(
    w: World, notes: Lot
) -> None:
    used(w, w.dressing, 5)
    text = said(text_of(w))
    assert "OLD EDITIONS" not in text
    assert text.count(REPLACE) == 1
    assert text.index("DAY-01: now") < text.index(f"1 {REPLACE}")


def test_without_the_new_edition_on_a_shelf_there_it_says_what_to_do(w: World) -> None:
    item = make.item("First aid notes", Kind.DOCUMENT, needs_date=False)
    make.put_in(w.day_01, make.some(item, w.shelf, 1, "2024"), w.shelf, 1)
    assert "edition" not in said(text_of(w))
    make.some(item, w.hut_shelf, 5, "2026")
    assert "1 × First aid notes: edition 2024 is old; print or receive edition 2026." in said(
        text_of(w)
    )
