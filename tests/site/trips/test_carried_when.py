"""What a trip does and how far it is from care, on its pages; and what lists then carry all the
same."""

from decimal import Decimal

import pytest

from kits.models import Activity, Need, NotCarried, Trip, WhyNotCarried
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


def added(world: make.World, **more: str) -> Trip:
    day = make.days(2).isoformat()
    said = {
        "name": "Gorge day", "departs_at": f"{day}T08:00", "returns_at": f"{day}T18:00",
        "people": "8", "room": world.store.slug,
        "activity": "gorge-walking", "hours_to_care": "6,5",
    }  # fmt: skip
    answer = post(browser(world.keeper), "/trips/add/", **said | more)
    assert answer.status_code == 302, text_of(answer)
    return Trip.objects.latest("pk")


def left_out(world: make.World, **when: object) -> None:
    NotCarried.objects.create(
        version=world.version,
        need=Need.objects.get(key="severe-bleeding"),
        why=WhyNotCarried.NO_TRAINING,
        **when,
    )


def test_a_trip_says_what_it_does_and_how_far_it_is_from_care(world: make.World) -> None:
    trip = added(world)
    assert (trip.activity, trip.hours_to_care) == (
        Activity.objects.get(key="gorge-walking"),
        Decimal("6.5"),
    )
    client = browser(world.keeper)
    said = text_of(client.get(f"/trips/{trip.pk}/"))
    assert f"Activity {trip.activity}" in said
    assert "Hours to a hospital or doctor 6.5" in said
    form = client.get(f"/trips/{trip.pk}/edit/")
    assert 'value="6.5"' in form.text
    assert '<option value="gorge-walking" selected>' in form.text


@pytest.mark.parametrize("path", ["/trips/", "/trips/calendar/?month={:%Y-%m}"])
def test_so_do_the_lists_of_trips(world: make.World, path: str) -> None:
    trip = added(world)
    said = text_of(browser(world.keeper).get(path.format(trip.first_day)))
    assert f"{trip.activity} · 6.5 h from a hospital or doctor" in said
    added(world, name="Walk", activity="", hours_to_care="")
    assert text_of(browser(world.keeper).get("/trips/")).count("h from a hospital") == 1


def test_emptying_them_on_the_form_clears_them(world: make.World) -> None:
    trip = added(world)
    client, path = browser(world.keeper), f"/trips/{trip.pk}/edit/"
    form = client.get(path)
    fields = form_with(form, "Save") | {"activity": "", "hours_to_care": ""}
    assert client.post(path, fields).status_code == 302
    trip.refresh_from_db()
    assert (trip.activity, trip.hours_to_care, trip.people) == (None, None, 8)


def test_neither_has_to_be_said_and_wrong_ones_are_refused(world: make.World) -> None:
    trip = added(world, activity="", hours_to_care="")
    assert (trip.activity, trip.hours_to_care) == (None, None)
    client = browser(world.keeper)
    for wrong in ({"activity": "flying"}, {"hours_to_care": "-1"}, {"hours_to_care": "far"}):
        day = make.days(2).isoformat()
        said = {"name": "x", "departs_at": f"{day}T08:00", "returns_at": f"{day}T18:00",
                "people": "8", "room": world.store.slug}  # fmt: skip
        assert post(client, "/trips/add/", **said | wrong).status_code == 400


@pytest.mark.parametrize(
    ("when", "said"),
    [
        ({"hours_to_care": 6}, True),
        ({"hours_to_care": 7}, False),
        ({"activities": ["gorge-walking"]}, True),
        ({"activities": ["caving"], "hazards": ["winter"]}, False),
    ],
)
def test_what_a_list_carries_on_such_a_trip_is_said_there(
    world: make.World, when: dict[str, object], said: bool
) -> None:
    left_out(world, **when)
    trip = added(world)
    reservations.reserve(make.act(world.keeper), make.fresh(world.day_01), trip)
    page = text_of(browser(world.keeper).get(f"/trips/{trip.pk}/"))
    assert ("Not in DAY-01: something for “severe bleeding from a limb”." in page) is said
