"""How strict a room is: its settings by API and page, and its kits judged by them at once."""

from datetime import time

import pytest

from gearroom.core.models import Membership, Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Kit, Lot
from kits.rules.ledger.facts import Word
from kits.services.ledger import audit, verdicts
from kits.services.ledger.book import Book
from tests.kits import factories as make
from tests.site.browsing import browser, form_with, text_of

pytestmark = pytest.mark.django_db

ADDRESS = "/rooms/main-store/"


@pytest.fixture
def school() -> make.World:
    return make.world()


@pytest.fixture
def chief(school: make.World) -> Person:
    """An administrator of the main store."""
    person = make.person("Ann")
    Membership.objects.create(person=person, role=Role.ADMINISTRATOR.value, room=school.store)
    return person


def expired_on_a_routine_line(school: make.World) -> Kit:
    """A spare dressing of DAY-01, on no line that matters, went out of date."""
    wipes = make.item("Wipe")
    version = make.kit_list(
        "Wipes", {"main": [(wipes, 1, 0, make.Criticality.ROUTINE)]}, signed_by=school.adviser
    )
    kit = make.kit("WIPES", version, school.store)
    make.put_in(kit, make.some(wipes, school.shelf, 1, "W0", make.days(200)), school.shelf, 1)
    make.put_in(kit, make.some(wipes, school.shelf, 1, "W1", make.days(30)), school.shelf, 1)
    Lot.objects.filter(number="W1").update(expiry=make.days(-1))
    with Book(make.act()) as book:
        book.lock(kit.pk)
    return make.fresh(kit)


def test_what_is_out_of_date_stops_a_kit_as_soon_as_its_room_says_so(
    school: make.World, chief: Person
) -> None:
    kit = expired_on_a_routine_line(school)
    assert verdicts.judged_one(kit).verdict.word is Word.READY

    answer = make.caller(chief).patch("rooms/main-store/", {"expired_always_stops": True})

    assert answer.status_code == 200
    kit = make.fresh(kit)
    assert verdicts.judged_one(kit).verdict.word is Word.DO_NOT_TAKE
    assert kit.clear_until == make.days(-1)
    assert not [found for found in audit.findings() if found.about == "kit"]


def test_a_room_says_how_strict_it_is_and_takes_other_settings(
    school: make.World, chief: Person
) -> None:
    call = make.caller(chief)
    assert {
        "closing_time": "18:00",
        "sorting_nights": 1,
        "guides_decide_important": False,
        "expired_always_stops": False,
    }.items() <= call.get("rooms/main-store/").json().items()

    answer = call.patch(
        "rooms/main-store/",
        {"closing_time": "17:30", "sorting_nights": 2, "guides_decide_important": True},
    ).json()

    assert (answer["closing_time"], answer["sorting_nights"]) == ("17:30", 2)
    assert answer["guides_decide_important"] is True
    assert answer["name"] == "Main store"


@pytest.mark.parametrize(
    "wrong", [{"sorting_nights": 15}, {"sorting_nights": -1}, {"closing_time": "late"}]
)
def test_a_setting_that_is_none_is_refused(
    school: make.World, chief: Person, wrong: dict[str, int] | dict[str, str]
) -> None:
    assert make.caller(chief).patch("rooms/main-store/", wrong).status_code == 400


def test_only_an_administrator_changes_them(school: make.World) -> None:
    answer = make.caller(school.keeper).patch("rooms/main-store/", {"sorting_nights": 2})

    assert answer.status_code == 403


def test_the_page_shows_them_in_words_and_changes_them(school: make.World, chief: Person) -> None:
    client = browser(chief)
    page = client.get(ADDRESS)
    assert "A kit taken out without a trip is due back at 18:00" in text_of(page)

    fields = form_with(page, 'name="closing_time"')
    client.post(
        ADDRESS,
        {
            **fields,
            "time_zone": "UTC",
            "closing_time": "16:45",
            "sorting_nights": "0",
            "guides_decide_important": "1",
            "expired_always_stops": "1",
        },
    )

    room = Room.objects.get(slug="main-store")
    assert (room.closing_time, room.sorting_nights) == (time(16, 45), 0)
    assert room.guides_decide_important
    assert room.expired_always_stops
    assert room.name == "Main store"


@pytest.mark.parametrize(("field", "wrong"), [("closing_time", "noon"), ("sorting_nights", "x")])
def test_the_page_says_what_is_wrong_with_a_setting(
    school: make.World, chief: Person, field: str, wrong: str
) -> None:
    client = browser(chief)
    fields = form_with(client.get(ADDRESS), 'name="closing_time"')

    answer = client.post(ADDRESS, {**fields, "time_zone": "UTC", field: wrong})

    assert answer.status_code == 400
    assert Room.objects.get(slug="main-store").sorting_nights == 1
