"""What a list leaves out and a trip wants is said where its kit is about to go, until it is in."""

from decimal import Decimal

import pytest

from kits.models import Activity, ItemNeed, Need, NotCarried, Trip, WhyNotCarried
from kits.services.custody import custody
from kits.services.trips import carried_when, reservations
from tests.kits import factories as make
from tests.kits.factories import World
from tests.site.browsing import browser, post

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    """A list that leaves severe bleeding out but for work parties, sharp tools, or far from help;
    and a trip that its kit is reserved for."""
    made = make.world()
    NotCarried.objects.create(
        version=made.version,
        need=Need.objects.get(key="severe-bleeding"),
        why=WhyNotCarried.NO_TRAINING,
        activities=["work-party"],
        hours_to_care=Decimal(4),
    )
    made.trip = make.trip("Dyke day", made.store, 0, 0, leader=made.guide)
    reservations.reserve(make.act(made.keeper), made.day_01, made.trip)
    return made


def work_party(w: World) -> Trip:
    w.trip.activity = Activity.objects.get(key="work-party")
    w.trip.save()
    return w.trip


def to_add(w: World) -> list[str]:
    return carried_when.to_add(w.trip, [w.day_01])


def test_it_is_said_for_such_a_trip_alone(w: World) -> None:
    assert to_add(w) == []
    work_party(w)
    (says,) = to_add(w)
    assert "something for" in says
    assert "DAY-01" in says


@pytest.mark.parametrize(("hours", "said"), [("3.9", False), ("4", True), ("12", True)])
def test_and_from_so_many_hours_to_care_on(w: World, hours: str, said: bool) -> None:
    w.trip.hours_to_care = Decimal(hours)
    assert bool(to_add(w)) is said


def test_once_what_is_best_for_it_is_in_nothing_is_said(w: World) -> None:
    work_party(w)
    need = Need.objects.get(key="severe-bleeding")
    served = ItemNeed.objects.create(item=w.dressing, need=need, best=False)
    assert to_add(w)
    ItemNeed.objects.filter(pk=served.pk).update(best=True)
    assert to_add(w) == []


def test_the_kit_page_and_the_scan_say_it_before_it_goes(w: World) -> None:
    keeper = browser(w.keeper)
    for page in (keeper.get("/kits/DAY-01/"), post(keeper, "/scan/", text="DAY-01")):
        assert "Not in DAY-01" not in page.content.decode()
    work_party(w)
    for page in (keeper.get("/kits/DAY-01/"), post(keeper, "/scan/", text="DAY-01")):
        assert page.status_code == 200
        assert page.content.decode().count("Not in DAY-01") == 1


def test_of_a_kit_that_is_out_its_page_says_it_no_more(w: World) -> None:
    work_party(w)
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    assert "Not in DAY-01" not in browser(w.keeper).get("/kits/DAY-01/").content.decode()
