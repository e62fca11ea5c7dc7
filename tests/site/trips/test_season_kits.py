"""Kits for all trips together, on a page: ticked, changed by hand, reserved at once."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from kits.models import Kit, Reservation
from kits.rules.ledger import Criticality
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE
PAGE = "/trips/season/"


@pytest.fixture
def world() -> make.World:
    return make.world()


def ticked(page: str) -> list[str]:
    return re.findall(r'name="reserve"\s+value="([^"]*)"\s+checked', page)


def reserved() -> list[tuple[str, str]]:
    rows = Reservation.objects.promised().values_list("trip__name", "kit__name")
    return sorted((str(trip), str(kit)) for trip, kit in rows)


def test_each_trip_has_its_kit_ticked_and_all_are_reserved_by_one_press(world: make.World) -> None:
    moor, ridge = make.trip("Moor", world.store, 3, 3), make.trip("Ridge", world.store, 6, 6)
    client = browser(world.keeper)
    page = client.get(PAGE).content.decode()
    values = ticked(page)
    assert {value.split(":")[0] for value in values} == {str(moor.pk), str(ridge.pk)}
    assert reserved() == []
    answer = post(client, PAGE, reserve=values)
    assert answer.status_code == 302
    assert {trip for trip, _ in reserved()} == {"Moor", "Ridge"}
    assert "kits reserved" in text_of(client.get(answer["Location"]))
    assert ticked(client.get(PAGE).content.decode()) == []
    assert "Every trip has the kits it needs." in text_of(client.get(PAGE))


def test_it_is_changed_by_hand_and_a_slip_keeps_what_was_chosen(world: make.World) -> None:
    moor = make.trip("Moor", world.store, 3, 3)
    client = browser(world.keeper)
    (value,) = ticked(client.get(PAGE).content.decode())
    answer = post(client, PAGE)
    assert answer.status_code == 400
    assert "Choose at least one kit." in text_of(answer)
    assert ticked(answer.content.decode()) == []
    other = {"DAY-01": "DAY-02", "DAY-02": "DAY-01"}[value.split(":")[1]]
    post(client, PAGE, **{f"add-{moor.pk}": other})
    assert reserved() == [("Moor", other)]


def test_what_was_reserved_meanwhile_is_said_and_nothing_is_reserved(world: make.World) -> None:
    make.trip("Moor", world.store, 3, 3)
    client = browser(world.keeper)
    (value,) = ticked(client.get(PAGE).content.decode())
    kit = Kit.objects.get(name=value.split(":")[1])
    reservations.reserve(make.act(world.keeper), kit, make.trip("Cave", world.store, 3, 3))
    answer = post(client, PAGE, reserve=value)
    assert answer.status_code == 409
    assert "is reserved for Cave" in text_of(answer)
    assert reserved() == [("Cave", kit.name)]


def test_what_a_trip_lacks_and_how_it_could_go_after_all(world: make.World) -> None:
    Kit.objects.filter(pk=world.day_02.pk).update(retired_on=make.days(0))
    for name in ("Moor", "Ridge"):
        make.trip(name, world.store, 3, 3)
    words = text_of(browser(world.keeper).get(PAGE))
    assert "8 people" in words
    assert "If the trip began on" in words and "One more kit like DAY-01" in words


def test_no_trips_and_nothing_to_do_is_said(world: make.World) -> None:
    assert "There are no upcoming trips." in text_of(browser(world.keeper).get(PAGE))
    assert browser(world.guide).get(PAGE).status_code == 403


def test_a_trip_whose_kit_has_to_be_restocked_is_not_said_to_have_what_it_needs(
    world: make.World,
) -> None:
    make.some(world.dressing, world.shelf, 6, "D9", make.days(500))
    trip = make.trip("Moor", world.store, 3, 3)
    reservations.reserve(make.act(world.keeper), world.day_02, trip)
    words = text_of(browser(world.keeper).get(PAGE))
    assert "already reserved" in words and "restock it first" in words
    assert "Every trip has the kits it needs." not in words
    assert "1 trip has the kits it needs" not in words


def test_reserved_kits_change_where_a_keeper_ticks_it_and_as_a_whole_or_not_at_all(
    world: make.World,
) -> None:
    small = make.kit_list(
        "Small", {"main": [(world.shears, 1, 1, Criticality.ROUTINE)]}, world.adviser, people=4
    )
    make.kit("SMALL-1", small, world.store)
    Kit.objects.filter(pk=world.day_02.pk).update(lost_since=timezone.now())
    moor, ridge = (
        make.trip("Moor", world.store, 3, 3, people=4),
        make.trip("Ridge", world.store, 3, 3),
    )
    reservations.reserve(make.act(world.keeper), world.day_01, moor)
    client = browser(world.keeper)
    assert 'name="release"' not in client.get(PAGE).content.decode()
    address = f"{PAGE}?changes=1"
    assert "SMALL-1 instead of DAY-01" in text_of(client.get(address))
    kits = {"reserve": [f"{moor.pk}:SMALL-1", f"{ridge.pk}:DAY-01"]}
    assert post(client, address, **kits).status_code == 409
    assert reserved() == [("Moor", "DAY-01")]
    kits["release"] = [f"{moor.pk}:DAY-01"]
    done = post(client, address, **kits)
    assert reserved() == [("Moor", "SMALL-1"), ("Ridge", "DAY-01")]
    assert "1 reservation released. Moor: DAY-01." in text_of(client.get(done["Location"]))
    again = post(client, address, **kits)
    assert again.status_code == 409
    assert "Look at the page again" in text_of(again)


def test_a_refused_choice_keeps_kits_added_by_hand(world: make.World) -> None:
    moor = make.trip("Moor", world.store, 3, 3)
    client = browser(world.keeper)
    answer = post(client, PAGE, reserve=f"{moor.pk}:DAY-02", **{f"add-{moor.pk}": "NOBODYS"})
    assert answer.status_code == 404
    assert ticked(answer.content.decode()) == [f"{moor.pk}:DAY-02"]
    assert 'value="NOBODYS"' in answer.content.decode()
    assert reserved() == []


def test_a_page_from_before_reserves_no_second_kit_for_a_trip(world: make.World) -> None:
    moor, ridge = make.trip("Moor", world.store, 3, 3), make.trip("Ridge", world.store, 5, 5)
    client = browser(world.keeper)
    sent = {
        "reserve": [f"{moor.pk}:DAY-02", f"{ridge.pk}:DAY-02"],
        "shown": re.findall(r'name="shown" value="([^"]*)"', client.get(PAGE).content.decode()),
    }
    assert sent["shown"] == [f"{moor.pk}:", f"{ridge.pk}:"]
    reservations.reserve(make.act(world.keeper), world.day_01, moor)
    refused = post(client, PAGE, **sent)
    assert refused.status_code == 412
    assert "Kits for Moor have been reserved or released since" in text_of(refused)
    assert reserved() == [("Moor", "DAY-01")]
    assert ticked(refused.content.decode()) == sent["reserve"]
    sent["shown"] = re.findall(r'name="shown" value="([^"]*)"', refused.content.decode())
    post(client, PAGE, **sent)
    assert reserved() == [("Moor", "DAY-01"), ("Moor", "DAY-02"), ("Ridge", "DAY-02")]
    assert post(client, PAGE, reserve=f"{moor.pk}:DAY-02", shown="a:b").status_code == 400


def test_the_picture_takes_no_query_for_a_trip_or_kit(world: make.World) -> None:
    make.trip("Moor", world.store, 1, 1)
    cave = make.trip("Cave", world.store, 1, 1)
    reservations.reserve(make.act(world.keeper), world.day_02, cave)
    client = browser(world.keeper)
    client.get(PAGE)
    with CaptureQueriesContext(connection) as few:
        client.get(PAGE)
    for n in range(4):
        trip = make.trip(f"Ridge {n}", world.store, 2 + n, 2 + n)
        reservations.reserve(
            make.act(world.keeper), make.kit(f"DAY-1{n}", world.version, world.store), trip
        )
        make.trip(f"Fell {n}", world.store, 2 + n, 2 + n)
    with CaptureQueriesContext(connection) as many:
        page = client.get(PAGE).content.decode()
    assert len(many) <= len(few)
    assert page.count('class="reserved"') == 5
