"""A shelf in a van is of its room, and is named with where it is now."""

import pytest

from kits.services.restocking import sorting
from kits.services.stock import shelves
from kits.services.weather import locations
from tests.kits import factories as make
from tests.kits.factories import World, act
from tests.site.browsing import browser, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def w() -> World:
    """The upper shelf, with dressings D2, is in a van without any weather."""
    made = make.world()
    van = locations.add_location(act(made.keeper), made.store, name="Van 2")
    made.upper = shelves.edit_shelf(act(made.keeper), made.upper, location=van)
    return made


def test_its_stock_is_of_the_room_and_named_apart_on_the_item_and_when_restocking(
    w: World,
) -> None:
    text = text_of(browser(w.keeper).get(f"/stock/{w.dressing.pk}/"))
    assert "22 usable on the shelves" in text
    assert "C3 (Van 2)" in text
    assert "C2 (" not in text
    for name in ("DAY-07", "DAY-08"):  # they use up what is on C2
        sorting.restock(act(w.keeper), make.kit(name, w.version, w.store))
    kit = make.kit("DAY-09", w.version, w.store)
    text = text_of(browser(w.keeper).get(f"/kits/{kit.name}/sort/"))
    assert "C3 (Van 2)" in text


def test_the_shelves_of_the_room_itself_are_walked_first(w: World) -> None:
    last = make.shelf(w.store, "Z9")
    make.some(w.shears, last, 3)
    plan = sorting.restock_list(make.kit("DAY-09", w.version, w.store))
    assert sorting.by_shelf(plan, str(last.pk)) < sorting.by_shelf(plan, str(w.upper.pk))


def test_brought_back_it_is_named_as_before(w: World) -> None:
    shelves.edit_shelf(act(w.keeper), w.upper, location=None)
    text = text_of(browser(w.keeper).get(f"/stock/{w.dressing.pk}/"))
    assert "Van 2" not in text
