"""What the weekly email says of old editions of documents in kits."""

import pytest
from pytest_django import Settings

from kits.models import Lot
from kits.rules.ledger.facts import Kind
from kits.services.stock import shelves
from tests.kits import factories as make
from tests.kits.factories import World, act
from tests.kits.mail.weeks import said, text_of, used
from tests.kits.weather.cold import van

pytestmark = pytest.mark.django_db
REPLACE = "1 × First aid notes: replace edition 2024 with edition 2026 from C3."


@pytest.fixture
def w() -> World:
    return make.world()


@pytest.fixture
def notes(w: World) -> Lot:
    """DAY-01 has the edition of 2024; that of 2026 is on the upper shelf."""
    item = make.item("First aid notes", Kind.DOCUMENT, needs_date=False)
    make.put_in(w.day_01, make.some(item, w.shelf, 4, "2024"), w.shelf, 1)
    return make.some(item, w.upper, 5, "2026")


def test_a_kit_that_is_not_opened_for_anything_else_has_a_row_of_its_own(
    w: World, notes: Lot
) -> None:
    text = said(text_of(w))
    assert text.count(REPLACE) == 1
    assert "OLD EDITIONS TO REPLACE" in text.split(REPLACE)[0]
    shelves.edit_shelf(act(w.keeper), w.upper, location=van(w))
    assert "with edition 2026 from C3 (Van 2)." in said(text_of(w))


def test_it_links_to_the_editions_on_the_kits_page_or_nowhere_without_a_web_address(
    w: World, notes: Lot, settings: Settings
) -> None:
    settings.PUBLIC_URL = ""
    assert "#editions" not in text_of(w)
    settings.PUBLIC_URL = "https://gear.example.org"
    assert "https://gear.example.org/kits/DAY-01/#editions" in text_of(w)


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
    assert text.index("DAY-01: now") < text.index(REPLACE)


def test_without_the_new_edition_on_a_shelf_there_it_says_what_to_do(w: World) -> None:
    item = make.item("First aid notes", Kind.DOCUMENT, needs_date=False)
    make.put_in(w.day_01, make.some(item, w.shelf, 1, "2024"), w.shelf, 1)
    assert "edition" not in said(text_of(w))
    make.some(item, w.hut_shelf, 5, "2026")
    assert "1 × First aid notes: edition 2024 is old; print or receive edition 2026." in said(
        text_of(w)
    )
