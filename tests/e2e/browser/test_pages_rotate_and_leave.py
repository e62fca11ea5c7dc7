"""Work of a quiet week on a phone: batches that end soon, a kit too many, what is out of date, an
old edition, the first frost, a shelf that goes into the van. Taps are counted; what is typed is
not."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from playwright.sync_api import Browser

from kits.models import Item, Kit, Location, Lot, PlaceKind
from kits.rules.ledger.facts import Kind
from kits.services.kits import kits
from kits.services.ledger import audit
from kits.services.ledger.book import room_place
from kits.services.weather import locations
from tests.e2e.hatch import Phone, phone
from tests.e2e.pages import give_password, served
from tests.engines import Engine
from tests.kits import factories as make
from tests.kits.factories import act, section, units
from tests.kits.rotation.school import school
from tests.kits.weather.cold import month, van

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@dataclass
class Store:
    """The store where one kit uses much and another little, a server over it and a browser."""

    w: make.World
    browser: Browser
    url: str
    keeper: str
    van: Location

    def phone(self, to: str) -> Phone:
        """A phone on which the keeper has a page open."""
        return phone(self.browser, self.url, self.keeper, to)


@pytest.fixture(scope="module")
def store(
    need: Callable[[str], str], _engines: dict[str, Engine], django_db_blocker: Any
) -> Iterator[Store]:
    """One school for all flows; each has things of its own."""
    with served(need("chromium"), _engines["sqlite"], django_db_blocker) as (browser, url):
        w = school()
        make.kit("TRAIN-1", w.version, w.store, training=True)
        yield Store(w, browser, url, give_password(w.keeper), van(w))


def in_order(at: Phone) -> bool:
    """Whether no script failed, and the book is as it should be."""
    return not at.faults and list(audit.findings()) == []


def prints(at: Phone, path: str, text: str) -> bool:
    """Whether a line of a page is on it when it is printed."""
    at.page.goto(at.url + path)
    at.page.emulate_media(media="print")
    shown = at.page.get_by_text(text).first.is_visible()
    at.page.emulate_media(media="screen")
    return shown


def leave(at: Phone, way: str) -> None:
    """Type who gets it and why, and let it leave."""
    at.page.get_by_label("Who is getting it").fill("The youth centre")
    at.page.get_by_label("Why it is leaving").fill("One too many")
    at.press(way)


def test_what_ends_soon_is_swapped_by_one_tap_while_a_kit_is_restocked(
    engine: str, store: Store
) -> None:
    spare = Kit.objects.get(name="SPARE")
    soon = Lot.objects.get(number="SOON")
    at = store.phone("/stock/rotation/")
    assert prints(at, "/stock/rotation/", "4 × Wound dressing")
    at.page.goto(f"{store.url}/kits/SPARE/sort/")
    before = units(soon, section(spare))

    def swap() -> None:
        at.says("Swap while the kit is open")
        at.press("Swapped")
        at.says("The swap in SPARE has been recorded.")

    assert at.counted(swap) == 1
    assert units(soon, section(spare)) < before
    assert in_order(at)


def test_units_of_a_batch_are_given_away_in_three_taps_from_their_item(
    engine: str, store: Store
) -> None:
    w = store.w
    extra = make.some(make.item("Finger splint", needs_date=False), w.shelf, 5, "X1")
    at = store.phone(f"/stock/{extra.item_id}/")

    def give() -> None:
        at.press("Move or dispose of units")
        at.press("Sold or given away")
        leave(at, "Given away")
        at.says("5 × Finger splint recorded as passed on to The youth centre.")

    assert at.counted(give) == 3
    assert units(extra, w.shelf) == 0
    assert in_order(at)


def test_the_kit_that_would_be_missed_least_is_sold_in_three_taps_and_its_papers_are_there(
    engine: str, store: Store
) -> None:
    at = store.phone("/kits/")

    def sell() -> None:
        at.press("Which kit would be missed least?")
        assert at.page.locator("h2").first.inner_text() == "SPARE"
        at.press("Sell it or give it away")
        leave(at, "Sold")
        at.says("Papers of SPARE")

    assert at.counted(sell) == 3
    assert Kit.objects.get(name="SPARE").retired_on is not None
    assert in_order(at)


def test_what_is_out_of_date_goes_to_training_in_two_taps_from_the_stock(
    engine: str, store: Store
) -> None:
    w = store.w
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-5))
    at = store.phone("/stock/")

    def keep_for_class() -> None:
        at.press("Out of date")
        at.press("Put the selected items in the training box")
        at.says("Nothing on the shelves or in quarantine here is out of date.")

    assert at.counted(keep_for_class) == 2
    assert units(old, room_place(w.store, PlaceKind.TRAINING)) == 4
    assert in_order(at)


def test_an_old_edition_is_replaced_by_one_tap_on_its_kit(engine: str, store: Store) -> None:
    w = store.w
    notes = make.item("First aid notes", Kind.DOCUMENT, needs_date=False)
    make.put_in(w.day_01, make.some(notes, w.shelf, 1, "2024"), w.shelf, 1)
    new = make.some(notes, w.shelf, 5, "2026")
    at = store.phone("/kits/DAY-01/")

    def replace() -> None:
        at.press("Replace")
        at.says("The swap in DAY-01 has been recorded.")

    assert at.counted(replace) == 1
    assert units(new, section(w.day_01)) == 1
    assert in_order(at)


def test_what_must_not_freeze_leaves_the_van_by_one_act_and_comes_back_by_one(
    engine: str, store: Store
) -> None:
    w = store.w
    Item.objects.filter(pk=w.tablets.pk).update(min_temp_c=5)
    kits.edit_kit(act(w.keeper), w.day_01, location=store.van)
    inside = units(w.lots["tablets"], section(w.day_01, "pouch"))
    assert inside > 0
    at = store.phone("/rooms/main-store/weather/")
    assert prints(at, "/rooms/main-store/weather/", f"{inside} × Pain tablets")
    at.page.goto(store.url)

    def out() -> None:
        at.press("View what to move")
        place = at.page.get_by_label("Move all of it to").first
        at.tap(place)
        place.select_option(str(w.shelf.pk))
        at.taps += 1
        at.press("Moved")
        at.says("Moved out of DAY-01.")

    def back() -> None:
        at.press("View what to move")
        at.press("Put back")
        at.says("Put back into DAY-01.")

    assert at.counted(out) == 4  # frost has begun: the place proposed is quarantine
    assert units(w.lots["tablets"], section(w.day_01, "pouch")) == 0
    locations.edit_location(act(w.keeper), store.van, frost_months=[month(6)])
    at.page.goto(store.url)
    assert at.counted(back) == 2
    assert units(w.lots["tablets"], section(w.day_01, "pouch")) == inside
    assert in_order(at)


def test_a_shelf_that_goes_into_the_van_is_named_there_after_four_taps(
    engine: str, store: Store
) -> None:
    w = store.w
    box = make.shelf(w.store, "Box 1")
    splints = make.some(make.item("Wrist splint", needs_date=False), box, 2, "W1")
    at = store.phone("/rooms/main-store/")
    row = at.page.get_by_role("listitem").filter(has_text="Box 1").last

    def move() -> None:
        at.tap(row.get_by_text("Change"))
        place = row.get_by_label("Location of the shelf")
        at.tap(place)
        place.select_option(str(store.van.pk))
        at.taps += 1
        at.tap(row.get_by_role("button", name="Save"))
        at.says("The location of Box 1 has been saved.")

    assert at.counted(move) == 4
    at.page.goto(f"{store.url}/stock/{splints.item_id}/")
    at.says("Box 1 (Van 2)")
    assert in_order(at)
