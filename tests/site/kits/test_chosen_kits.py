"""Several kits at once: ticked in the table, then labelled or reserved together."""

import re
import uuid

import pytest

from kits.models import Label, Reservation
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

CHOSEN = "/chosen-kits/"
BOTH = ["DAY-01", "DAY-02"]


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_the_table_has_a_box_for_each_kit_for_whoever_may_do_something(world: make.World) -> None:
    page = browser(world.keeper).get("/kits/?tick=all").content.decode()

    assert re.findall(r'name="kit" value="([^"]+)" checked', page)[:2] == BOTH
    assert "Select DAY-01" in page


def test_they_are_reserved_for_one_trip_once(world: make.World) -> None:
    trip = make.trip("Ridge walk", world.store, 1, 1)
    client, key = browser(world.keeper), uuid.uuid4()
    assert "Ridge walk" in text_of(client.get(CHOSEN, {"kit": BOTH}))

    for _pressed_twice in range(2):
        answer = post(client, CHOSEN, key, kit=BOTH, do="reserve", trip=trip.pk)
        assert answer["Location"] == f"/trips/{trip.pk}/"

    assert {each.kit.name for each in Reservation.objects.filter(trip=trip)} == set(BOTH)


def test_one_that_is_promised_elsewhere_keeps_all_free(world: make.World) -> None:
    trip, other = (make.trip(name, world.store, 1, 1) for name in ("Ridge walk", "Gorge"))
    reservations.reserve(make.act(world.keeper), world.day_02, other)

    answer = post(browser(world.keeper), CHOSEN, kit=BOTH, do="reserve", trip=trip.pk)

    assert answer.status_code == 409
    assert "DAY-02 is reserved for Gorge" in text_of(answer)
    assert not Reservation.objects.filter(trip=trip).exists()


def test_labels_are_made_for_those_without_one(world: make.World) -> None:
    client = browser(world.keeper)

    first = post(client, CHOSEN, kit=BOTH, do="labels")["Location"]

    assert first.startswith("/labels/print/?codes=")
    assert Label.objects.count() == 2
    assert post(client, CHOSEN, kit=BOTH, do="labels")["Location"] == first


def test_nothing_ticked_no_trip_and_others_kits_are_refused(world: make.World) -> None:
    client = browser(world.keeper)

    assert "No kit is selected" in text_of(client.get(CHOSEN))
    assert "at least one kit" in text_of(post(client, CHOSEN, do="labels"))
    assert "Choose the trip" in text_of(post(client, CHOSEN, kit=BOTH, do="reserve"))
    assert "Choose an action" in text_of(post(client, CHOSEN, kit=BOTH))
    stranger = browser(world.stranger)
    assert "DAY-01" not in text_of(stranger.get(CHOSEN, {"kit": BOTH}))
    assert post(stranger, CHOSEN, kit=BOTH, do="labels").status_code == 404
    assert Label.objects.count() == 0
