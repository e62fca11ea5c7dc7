"""What to move for the weather, on its page, on the kit's, on the board; and the locations."""

import re
import uuid

import pytest

from kits.models import Item, Kit, Location
from kits.services.kits import kits
from tests.kits import factories as make
from tests.kits.factories import World, act, section
from tests.kits.weather.cold import in_days, month, school
from tests.site.browsing import browser, post, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
PAGE, LOCATIONS, DONE = (
    "/rooms/main-store/weather/",
    "/rooms/main-store/locations/",
    "/kits/DAY-01/weather/",
)


@pytest.fixture
def w() -> World:
    return school()


def inside(w: World) -> int:
    return make.units(w.lots["tablets"], section(w.day_01, "pouch"))


def test_the_board_and_the_kit_lead_to_what_has_to_be_moved(w: World) -> None:
    client = browser(w.keeper)
    assert f'href="{PAGE}"' in client.get("/").content.decode()
    for address in (PAGE, "/kits/DAY-01/"):
        text = text_of(client.get(address))
        assert "8 × Pain tablets: frost since" in text
        assert "No record can show whether" in text


def test_it_is_moved_once_however_often_it_is_pressed(w: World) -> None:
    client, key = browser(w.guide), uuid.uuid4()
    for _ in range(2):
        assert post(client, DONE, key, do="out", to=str(w.shelf.pk)).status_code == 302
    assert inside(w) == 0
    text = text_of(client.get(PAGE))
    assert "Moved out of DAY-01." in text
    assert "Nothing has to be moved" in text
    assert "Nothing has to be moved" in text_of(
        post(client, DONE, uuid.uuid4(), do="out", to=str(w.shelf.pk))
    )


def test_quarantine_is_chosen_at_first_once_the_weather_has_begun(w: World) -> None:
    page = browser(w.guide).get("/kits/DAY-01/").content.decode()
    (choice,) = re.findall(r'<select name="to".*?</select>', page, re.S)
    assert re.search(r'value="quarantine"[^>]* selected', choice)
    assert "C3" not in choice  # that shelf is in the same van
    post(browser(w.guide), DONE, uuid.uuid4(), do="out", to="quarantine")
    assert inside(w) == 0


def test_no_place_chosen_says_so_and_too_early_back_too(w: World) -> None:
    client = browser(w.guide)
    assert "Choose where you moved the items to." in text_of(
        post(client, DONE, uuid.uuid4(), do="out", to="")
    )
    assert "nothing left to put back" in text_of(post(client, DONE, uuid.uuid4(), do="back"))
    assert inside(w) == 8


def test_afterwards_it_is_put_back_by_one_tap_with_a_warning(w: World) -> None:
    client = browser(w.guide)
    post(client, DONE, uuid.uuid4(), do="out", to=str(w.shelf.pk))
    with in_days(100):
        text = text_of(client.get("/kits/DAY-01/"))
        assert "These items may be put back: 8 × Pain tablets, batch T1, from C2" in text
        assert "ask its maker" in text
        post(client, DONE, uuid.uuid4(), do="back")
        assert inside(w) == 8


def test_a_keeper_writes_down_a_van_and_puts_a_kit_and_a_shelf_there() -> None:
    w = make.world()
    Item.objects.filter(pk=w.tablets.pk).update(min_temp_c=5)
    client = browser(w.keeper)
    sent = {"name": "Van 2", "frost_months": [month(), month(1)], "coldest_c": "−8"}
    refused = post(client, LOCATIONS, uuid.uuid4(), **{**sent, "coldest_c": "cold"})
    assert 'value="cold"' in refused.content.decode()
    post(client, LOCATIONS, uuid.uuid4(), **{**sent, "coldest_c": "-8"})
    van = Location.objects.get()
    assert sorted(van.frost_months) == sorted([month(), month(1)])
    text = text_of(client.get(LOCATIONS))
    assert "Van 2" in text
    assert "−8 °C" in text
    post(client, f"/shelves/{w.upper.pk}/", uuid.uuid4(), do="place", location=str(van.pk))
    assert "now at Van 2" in text_of(client.get("/rooms/main-store/"))
    kits.edit_kit(act(w.keeper), w.day_01, location=van)
    assert "DAY-01" in text_of(client.get(PAGE))
    refused = post(client, f"/locations/{van.pk}/", uuid.uuid4(), do="close")
    assert "still at Van 2" in text_of(refused)
    post(client, f"/locations/{van.pk}/", uuid.uuid4(), do="save", name="Van 3")
    van.refresh_from_db()
    assert (van.name, van.frost_months, van.coldest_c) == ("Van 3", [], None)


def test_a_kit_is_put_at_a_location_in_its_settings(w: World) -> None:
    at = Location.objects.get()
    Kit.objects.update(location=None)
    page = browser(w.keeper).get("/kits/DAY-01/keeping/").content.decode()
    assert f'<option value="{at.pk}"' in page
    values = {
        "do": "edit", "name": "DAY-01", "responsible": w.instructor.pk, "lives_in": "vehicle",
        "look_interval_days": "365", "location": str(at.pk),
    }  # fmt: skip
    post(browser(w.keeper), "/kits/DAY-01/keeping/", uuid.uuid4(), **values)
    assert Kit.objects.get(name="DAY-01").location == at
