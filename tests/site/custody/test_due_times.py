"""When what is out is due: shown where it is scanned and looked at, changed by one tap."""

import re
import uuid
from datetime import datetime, time, timedelta
from typing import Any

import pytest
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.models import Room
from kits.models import Checkout, Notice, Trip
from kits.services.custody import custody
from kits.services.mail import notice_texts, overdue
from kits.services.trips import trips
from kits.services.trips.trip_facts import TripFacts
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school() -> scanned.Labelled:
    made = scanned.labelled()
    # Whatever the hour of the test, the room closes later that day.
    Room.objects.update(closing_time=time(23, 59, 59))
    return made


def buttons(response: Any, path: str) -> dict[str, Any]:
    """The times that the forms to an address offer, by what they are called."""
    page = response.content.decode()
    found = {}
    for form in re.findall(rf'<form[^>]*action="{path}".*?</form>', page, re.S):
        for at, says in re.findall(
            r'<button name="due_at" value="([^"]*)">(.*?)</button>', form, re.S
        ):
            found[re.sub(r"\s+", " ", re.sub(r"<.*?>", "", says)).strip()] = at
    return found


def due_of(kit: str = "DAY-01") -> datetime | None:
    return Checkout.objects.get(kit__name=kit, in_at=None).due_at


@pytest.mark.parametrize("where", ["scan", "kit"])
def test_the_due_time_is_shown_and_changed_by_one_tap(school: scanned.Labelled, where: str) -> None:
    client = browser(school.world.guide)
    scanned_page = post(
        client, "/scan/", text="DAY-01", intent="check-out", holder=school.world.guide.pk
    )
    page = scanned_page if where == "scan" else client.get("/kits/DAY-01/")
    assert re.search(r"Due (today|tomorrow) at \d\d:\d\d · change", text_of(page))

    offered = buttons(page, "/kits/DAY-01/due/")
    (evening,) = [at for says, at in offered.items() if re.match("Tonight|Tomorrow", says)]
    to = {"scan": "/scan/", "kit": "/kits/DAY-01/"}[where]
    answer = post(client, "/kits/DAY-01/due/", due_at=evening, to=to)

    assert answer["Location"] == to
    assert present(due_of()).isoformat() == evening
    assert "DAY-01 is due" in text_of(client.get(to))


def test_it_may_be_due_at_no_set_time_or_at_ones_own(school: scanned.Labelled) -> None:
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)
    client = browser(school.world.guide)

    assert buttons(client.get("/kits/DAY-01/"), "/kits/DAY-01/due/")["No return time"] == ""
    post(client, "/kits/DAY-01/due/", due_at="")
    assert due_of() is None
    assert "No return time · change" in text_of(client.get("/kits/DAY-01/"))

    own = make.days(3)
    post(client, "/kits/DAY-01/due/", due_at=f"{own}T16:30")
    assert present(due_of()).isoformat() == f"{own}T16:30:00+00:00"


@pytest.mark.parametrize(
    ("due_at", "says"),
    [("2020-01-01T08:00", "has already passed"), ("soon", "enter a date and a time")],
)
def test_a_time_that_will_not_do_is_said_and_nothing_changes(
    school: scanned.Labelled, due_at: str, says: str
) -> None:
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)
    before = due_of()

    answer = post(browser(school.world.guide), "/kits/DAY-01/due/", due_at=due_at)

    assert (answer.status_code, due_of()) == (422 if "passed" in says else 400, before)
    assert says in text_of(answer)


def test_whoever_may_not_change_it_sees_it(school: scanned.Labelled) -> None:
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)
    client = browser(school.world.adviser)

    page = text_of(client.get("/kits/DAY-01/"))
    assert re.search(r"Due (today|tomorrow) at \d\d:\d\d\.", page) and "· change" not in page
    assert post(client, "/kits/DAY-01/due/", due_at="").status_code == 403


def test_the_mail_that_a_kit_is_not_back_leads_to_its_times(
    school: scanned.Labelled, settings: Settings
) -> None:
    settings.PUBLIC_URL = "https://gear.example.org"
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)
    due = timezone.now() - timedelta(hours=3)
    Checkout.objects.update(out_at=due - timedelta(hours=1), due_at=due)
    overdue.look(timezone.now())

    link = notice_texts.row(Notice.objects.get(person=school.world.guide)).url
    assert link == "https://gear.example.org/kits/DAY-01/#due"
    page = browser(school.world.guide).get("/kits/DAY-01/").content.decode()
    assert '<details class="due" id="due" open>' in page


def out_on_a_trip(school: scanned.Labelled) -> Trip:
    walk = make.trip("Crag walk", school.world.store, 0, 0, leader=school.world.guide)
    for kit in (school.world.day_01, school.world.day_02):
        custody.check_out(make.act(), kit, trip=walk, already_gone=True)
    return walk


@pytest.mark.parametrize("page", ["/", "/trips/{trip}/", "/kits/DAY-02/"])
def test_all_kits_of_a_trip_are_back_later_by_one_tap(school: scanned.Labelled, page: str) -> None:
    walk = out_on_a_trip(school)
    client, path = browser(school.world.guide), f"/trips/{walk.pk}/extend/"
    shown = client.get(page.format(trip=walk.pk))

    offered = buttons(shown, path)
    (longer,) = [at for says, at in offered.items() if says.startswith("2 hours later")]
    key = uuid.uuid4()
    for _ in range(2):
        post(client, path, key=key, due_at=longer)

    assert due_of("DAY-01") == due_of("DAY-02") == walk.returns_at + timedelta(hours=2)
    assert Trip.objects.get().returns_at == walk.returns_at + timedelta(hours=2)
    assert "Due back then: DAY-01, DAY-02." in text_of(client.get("/"))


def test_a_trip_stands_once_on_the_board_with_its_later_times(school: scanned.Labelled) -> None:
    walk = out_on_a_trip(school)
    page = browser(school.world.guide).get("/").content.decode()
    assert page.count(f'action="/trips/{walk.pk}/extend/"') == 1
    stranger = browser(school.world.adviser).get("/").content.decode()
    assert f'action="/trips/{walk.pk}/extend/"' not in stranger


def test_what_was_put_off_by_hand_stays_when_the_booking_system_repeats_itself(
    school: scanned.Labelled,
) -> None:
    walk = out_on_a_trip(school)
    later = walk.returns_at + timedelta(hours=2)
    post(browser(school.world.guide), f"/trips/{walk.pk}/extend/", due_at=later.isoformat())

    facts = TripFacts(walk.name, walk.departs_at, walk.returns_at, 8, room=school.world.store)
    done = trips.put(make.act(), walk.source, walk.reference, facts)

    assert not done.due_changed
    assert due_of("DAY-01") == later
