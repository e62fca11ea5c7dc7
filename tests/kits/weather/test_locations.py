"""Vans, boats, huts and homes where kits and shelves are, and the weather there."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.services.kits import kits
from kits.services.stock import shelves
from kits.services.weather import locations
from tests.kits import factories as make
from tests.kits.factories import World, act

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return make.world()


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"name": " "}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"frost_months": [0]}, "frost_months"),
        ({"wet_months": [13]}, "wet_months"),
        ({"heat_months": [7]}, "hottest_c"),
        ({"hottest_c": 40}, "heat_months"),
        ({"coldest_c": -5}, "frost_months"),
    ],
)
def test_what_cannot_be_is_refused_and_says_what_to_do(
    w: World, facts: dict[str, Any], field: str
) -> None:
    with pytest.raises(Invalid) as problem:
        locations.add_location(act(w.keeper), w.store, **{"name": "Van 2", **facts})
    assert list(problem.value.facts["errors"]) == [field]


def test_a_name_is_taken_once_in_a_room(w: World) -> None:
    at = locations.add_location(act(w.keeper), w.store, name="Van  2", wet_months=[4, 3, 4])
    assert (at.name, at.wet_months) == ("Van 2", [3, 4])
    with pytest.raises(Refused) as problem:
        locations.add_location(act(w.keeper), w.store, name="VAN 2")
    assert problem.value.code == "name-taken"


def test_only_keepers_of_the_room_change_them(w: World) -> None:
    with pytest.raises(NotAllowed):
        locations.add_location(act(w.guide), w.store, name="Van 2")
    with pytest.raises(NotAllowed):
        locations.add_location(act(w.keeper), w.hut, name="Van 2")


def test_a_location_of_another_room_takes_neither_kit_nor_shelf(w: World) -> None:
    at = locations.add_location(act(), w.hut, name="Boat")
    for perform in (
        lambda: kits.edit_kit(act(w.keeper), w.day_01, location=at),
        lambda: shelves.edit_shelf(act(w.keeper), w.shelf, location=at),
    ):
        with pytest.raises(Invalid):
            perform()


def test_one_in_use_is_not_closed(w: World) -> None:
    at = locations.add_location(act(w.keeper), w.store, name="Van 2")
    kits.edit_kit(act(w.keeper), w.day_01, location=at)
    with pytest.raises(Refused) as problem:
        locations.close_location(act(w.keeper), at)
    assert problem.value.code == "location-in-use"
    assert "DAY-01" in str(problem.value)
    kits.edit_kit(act(w.keeper), w.day_01, location=None)
    assert locations.close_location(act(w.keeper), at).closed_on is not None


def test_a_kit_that_moves_home_leaves_its_location(w: World) -> None:
    at = locations.add_location(act(w.keeper), w.store, name="Van 2")
    kits.edit_kit(act(w.keeper), w.day_01, location=at)
    assert kits.move_home(act(), w.day_01, w.hut).location is None


def test_a_shelf_that_is_used_again_is_never_at_a_location_that_is_not(w: World) -> None:
    van = locations.add_location(act(w.keeper), w.store, name="Van 2")
    boat = locations.add_location(act(w.keeper), w.store, name="Boat")
    box, crate = (shelves.add_shelf(act(w.keeper), w.store, name) for name in ("Box", "Crate"))
    for shelf, at in ((box, van), (crate, boat)):
        shelves.close_shelf(act(w.keeper), shelves.edit_shelf(act(w.keeper), shelf, location=at))
    locations.close_location(act(w.keeper), van)
    for shelf, at_last in ((box, None), (crate, boat)):
        shelf.refresh_from_db()
        assert shelves.open_again(act(w.keeper), shelf).location == at_last
        shelf.refresh_from_db()
        assert (shelf.location, shelf.closed_on) == (at_last, None)
