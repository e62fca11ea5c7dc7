"""Locations and the weather by the API."""

import pytest

from gearroom.core.rules.roles import Role
from kits.models import Location, Place
from kits.services.stock import shelves
from kits.services.weather import locations
from tests.kits import factories as make
from tests.kits.factories import World, act, section
from tests.kits.weather.cold import in_days, month, school

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return school()


def test_a_location_is_added_changed_and_no_longer_used(w: World) -> None:
    call = make.caller(w.keeper)
    made = call.post("locations/", {"room": "main-store", "name": "Boat", "wet_months": [5, 4]})
    assert (made.status_code, made.json()["wet_months"]) == (201, [4, 5])
    address = f"locations/{made.json()['id']}/"
    changed = call.patch(address, {"heat_months": [7], "hottest_c": 41})
    assert (changed.json()["name"], changed.json()["hottest_c"]) == ("Boat", 41)
    assert call.patch(address, {"hottest_c": None}).status_code == 422
    assert call.patch("kits/DAY-01/", {"location": made.json()["id"]}).status_code == 200
    assert call.patch(address, {"close": True}).json()["code"] == "location-in-use"
    assert call.patch("kits/DAY-01/", {"location": None}).json()["location"] is None
    assert call.patch(address, {"close": True}).json()["closed_on"] is not None
    names = [each["name"] for each in call.get("locations/").json()["results"]]
    assert names == ["Van 2"]


@pytest.mark.parametrize("address", ["locations", "places"])
def test_closing_is_asked_for_alone_so_that_no_other_change_is_lost(w: World, address: str) -> None:
    call = make.caller(w.keeper)
    shelf = shelves.add_shelf(act(w.keeper), w.store, "C9")
    boat = locations.add_location(act(w.keeper), w.store, name="Boat")
    row: Location | Place = boat if address == "locations" else shelf
    refused = call.patch(f"{address}/{row.pk}/", {"close": True, "name": "Boat 2"})
    assert refused.status_code == 422
    assert "Send “close” alone" in str(refused.json()["errors"]["close"])
    name = row.name
    row.refresh_from_db()
    assert (row.name, row.closed_on) == (name, None)
    assert call.patch(f"{address}/{row.pk}/", {"close": False, "name": "Boat 2"}).status_code == 200
    assert call.patch(f"{address}/{row.pk}/", {"close": True}).status_code == 200
    row.refresh_from_db()
    assert (row.name, row.closed_on is None) == ("Boat 2", False)


def test_what_freezes_is_listed_moved_and_put_back(w: World) -> None:
    call = make.caller(w.keeper)
    (job,) = call.get("rooms/main-store/weather/").json()["results"]
    assert (job["kit"], job["shelf"], job["back"]) == ("DAY-01", None, [])
    (leaving,) = job["out"]
    assert (leaving["name"], leaving["units"], leaving["why"], leaving["begun"]) == (
        "Pain tablets", 8, ["frost"], True,
    )  # fmt: skip
    assert call.post("kits/DAY-01/weather-out/", {"to": str(w.upper.pk)}).status_code == 422
    done = call.post("kits/DAY-01/weather-out/", {"to": str(w.shelf.pk)})
    assert (done.status_code, done.json()["entry"]["kind"]) == (201, "weather-out")
    again = call.post("kits/DAY-01/weather-out/", {"to": str(w.shelf.pk)})
    assert (again.status_code, again.json()["code"]) == (409, "nothing-to-move")
    assert call.get("rooms/main-store/weather/").json()["results"] == []
    with in_days(100):
        (job,) = call.get("rooms/main-store/weather/").json()["results"]
        assert (job["back"][0]["units"], job["back"][0]["exposed"]) == (8, True)
        assert call.post("kits/DAY-01/weather-back/", {}).status_code == 201
    assert make.units(w.lots["tablets"], section(w.day_01, "pouch")) == 8


def test_another_rooms_location_is_not_there(w: World) -> None:
    other = make.caller(make.person("Kit", Role.KEEPER, w.hut))
    assert other.get("locations/").json()["results"] == []
    assert other.get("rooms/main-store/weather/").status_code == 404
    van = make.caller(w.keeper).get("locations/").json()["results"][0]["id"]
    assert other.patch(f"locations/{van}/", {"wet_months": [month()]}).status_code == 404
