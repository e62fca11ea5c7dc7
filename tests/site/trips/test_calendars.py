"""Calendars that trips come from, on pages: nothing is a trip before somebody looked at it."""

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.models import Trip, TripCalendar
from kits.services.calendars import calendars
from kits.services.calendars.calendars import CalendarFacts
from tests.kits import factories as make
from tests.kits.calendars.ics import event_in, ics
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


KIM = "DESCRIPTION:Leader: Kim Vale\\, kim@example.org"


def add(client: Any, **more: str) -> TripCalendar:
    form = {"name": "Season", "room": "main-store", "people": "8", **more}
    answer = post(client, "/trips/calendars/", **form)
    assert answer.status_code == 302, text_of(answer)
    return TripCalendar.objects.get()


def look(client: Any, calendar: TripCalendar, content: bytes) -> Any:
    file = SimpleUploadedFile("trips.ics", content, "text/calendar")
    return client.post(f"/trips/calendars/{calendar.pk}/", {"file": file})


def sealed(page: Any) -> str:
    match = re.search(r'name="sure" value="([^"]+)"', page.content.decode())
    assert match
    return match[1]


def test_a_file_is_looked_at_and_then_taken_over(world: make.World) -> None:
    client = browser(world.keeper)
    calendar = add(client)
    seen = look(client, calendar, ics(event_in(5, "ridge"), event_in(5, "odd", "RRULE:FREQ=DAILY")))
    assert "Ridge day New" in text_of(seen) and "It repeats." in text_of(seen)
    assert not Trip.objects.exists()
    address = f"/trips/calendars/{calendar.pk}/"
    assert post(client, address, sure=sealed(seen)).status_code == 302
    assert Trip.objects.get().name == "Ridge day"
    after = text_of(client.get(address))
    assert "1 new" in after and "1 not a trip" in after and "Odd day It repeats." in after


def test_what_would_be_imported_says_which_hazards_are_known(world: make.World) -> None:
    client = browser(world.keeper)
    calendar = add(client)
    events = [
        event_in(5, "lake", "CATEGORIES:open water"),
        event_in(6, "sea", "CATEGORIES:swell", KIM),
    ]
    page = look(client, calendar, ics(*events))
    seen = text_of(page)
    assert "08:00 – 17:00" in seen and "Leader: Kim Vale, kim@example.org" in seen
    assert seen.count("Hazards: open water") == seen.count("Hazards: no particular hazards") == 1
    post(client, f"/trips/calendars/{calendar.pk}/", sure=sealed(page))
    trip = text_of(client.get(f"/trips/{Trip.objects.get(reference='sea').pk}/"))
    assert "“Season” names the leader as Kim Vale (kim@example.org)" in trip


def test_what_was_looked_at_cannot_be_changed_on_the_way(world: make.World) -> None:
    client = browser(world.keeper)
    calendar = add(client)
    kept = sealed(look(client, calendar, ics(event_in(5, "ridge"))))
    for wrong in ("", kept[:-3] + "abc"):
        answer = post(client, f"/trips/calendars/{calendar.pk}/", sure=wrong)
        assert answer.status_code == 400
    assert not Trip.objects.exists()


def test_no_file_and_no_calendar_say_what_to_do(world: make.World) -> None:
    client = browser(world.keeper)
    calendar = add(client)
    assert "Choose the file first" in text_of(client.post(f"/trips/calendars/{calendar.pk}/", {}))
    assert "not a calendar file" in text_of(look(client, calendar, b"%PDF"))


def test_a_trip_that_is_no_longer_there_is_kept_or_cancelled(world: make.World) -> None:
    client = browser(world.keeper)
    calendar = add(client)
    for events in (["a", "b", "c"], ["a"]):
        seen = look(client, calendar, ics(*(event_in(5, name) for name in events)))
        post(client, f"/trips/calendars/{calendar.pk}/", sure=sealed(seen))
    says = text_of(client.get(f"/trips/calendars/{calendar.pk}/"))
    assert "Cancel or keep 2 trips that are no longer in it" in says
    asked = client.get("/trips/calendars/").content.decode()
    kept, cancelled = re.findall(r"/trips/calendars/gone/(\d+)/keep/", asked)
    post(client, f"/trips/calendars/gone/{kept}/keep/")
    post(client, f"/trips/calendars/gone/{cancelled}/cancel/")
    assert set(Trip.objects.filter(cancelled_at=None).values_list("name", flat=True)) == {
        "A day",
        "B day",
    }
    assert "No longer in their calendar" not in text_of(client.get("/trips/calendars/"))
    late = post(client, f"/trips/calendars/gone/{kept}/cancel/")
    assert late.status_code == 409 and "takes place" in text_of(late)


def test_a_trip_says_its_calendar_and_that_it_is_no_longer_there(world: make.World) -> None:
    client, guide = browser(world.keeper), browser(world.guide)
    calendar = add(client)
    for events in (["a", "b"], ["a"]):
        seen = look(client, calendar, ics(*(event_in(1, name) for name in events)))
        post(client, f"/trips/calendars/{calendar.pk}/", sure=sealed(seen))
    trip = Trip.objects.get(reference="b")
    page = f"/trips/{trip.pk}/"
    gone = "No longer in its calendar"
    assert text_of(client.get("/trips/")).count(gone) == 1
    assert gone in text_of(client.get("/"))
    assert "calendar “Season”" in text_of(guide.get("/trips/"))
    whole = client.get(page).content.decode()
    assert gone in whole and 'href="/trips/calendars/#gone"' in whole
    assert gone in text_of(guide.get(page)) and "Cancel or keep it" not in text_of(guide.get(page))
    assert gone not in text_of(client.get(f"/trips/{Trip.objects.get(reference='a').pk}/"))

    post(client, f"/trips/calendars/gone/{trip.calendar_event.pk}/keep/")

    assert gone not in text_of(client.get("/trips/")) + text_of(client.get(page))
    kept_page = text_of(client.get(page))
    assert "calendar “Season”, no longer in it" in kept_page
    assert "Change or cancel this trip" in kept_page and "Change or cancel" not in text_of(
        client.get(f"/trips/{Trip.objects.get(reference='a').pk}/")
    )


def test_the_address_is_shown_on_no_page_and_stays_where_none_is_entered(
    world: make.World,
) -> None:
    client = browser(world.keeper)
    calendar = add(client, address="https://calendar.example/secret-a1b2.ics")
    for path in ("/trips/calendars/", f"/trips/calendars/{calendar.pk}/"):
        assert "secret-a1b2" not in client.get(path).content.decode()
    form = {"name": "Other", "room": "main-store", "people": "9", "address": ""}
    post(client, f"/trips/calendars/{calendar.pk}/change/", **form)
    calendar.refresh_from_db()
    assert (calendar.name, calendar.people) == ("Other", 9)
    assert calendars.address_of(calendar).endswith("/secret-a1b2.ics")
    post(client, f"/trips/calendars/{calendar.pk}/change/", **form, in_files="1")
    calendar.refresh_from_db()
    assert calendar.address == ""


def test_a_calendar_is_deleted_only_while_no_trip_came_from_it(world: make.World) -> None:
    client = browser(world.keeper)
    calendar = add(client)
    here = f"/trips/calendars/{calendar.pk}/"
    seen = look(client, calendar, ics(event_in(5, "ridge")))
    assert "Delete this calendar" in text_of(client.get(here))
    post(client, here, sure=sealed(seen))
    assert "1 trip came from it" in text_of(client.get(here))
    assert "in use" in text_of(post(client, f"{here}delete/"))
    post(client, f"{here}stop/")
    assert "Trips came from" in text_of(post(client, f"{here}delete/"))
    empty = calendars.add(make.act(world.keeper), CalendarFacts("Empty", world.store, 8))
    assert post(client, f"/trips/calendars/{empty.pk}/delete/").status_code == 302
    assert TripCalendar.objects.get() == calendar


def test_an_unknown_leader_of_a_calendar_is_named_once_for_its_trips(world: make.World) -> None:
    client = browser(world.keeper)
    calendar = add(client)
    leader = "DESCRIPTION:Leader: Robin Example\\, robin@example.org"
    for days in (5, 6):
        events = [event_in(days, "ridge", leader), event_in(days + 1, "fell", leader)]
        seen = look(client, calendar, ics(*events))
        post(client, f"/trips/calendars/{calendar.pk}/", sure=sealed(seen))
        page = f"/trips/{Trip.objects.get(reference='ridge').pk}/"
        if days == 5:
            assert "“Season” names the leader as Robin Example" in text_of(client.get(page))
            assert "Choose who leads" in text_of(post(client, f"{page}leader/", person=""))
            post(client, f"{page}leader/", person=str(world.guide.pk))
        assert set(Trip.objects.values_list("leader", flat=True)) == {world.guide.pk}
    assert "Here that is Gil" in text_of(client.get(page))
