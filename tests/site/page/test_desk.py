"""The desk: what was told, how one hears, people, rooms and shelves, tokens, settings."""

import re
from pathlib import Path
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries, Settings

from gearroom.core.models import Membership, Person, Room, Token
from gearroom.core.rules.roles import Role
from kits.models import Label, Notice, NotificationChoice, NotificationPreferences, Place
from kits.services.mail import sending
from kits.services.notices import preferences, writing
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def w(tmp_path: Path, settings: Settings) -> make.World:
    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"
    world = make.world()
    for person in (world.instructor, world.keeper):
        Person.objects.filter(pk=person.pk).update(email=f"{person.name.lower()}@example.org")
    return world


@pytest.fixture
def chief(w: make.World) -> Person:
    """An administrator of every room."""
    return make.person("Cleo", Role.ADMINISTRATOR)


# --------------------------------------------------------------------------------- what was told
def test_a_keeper_sees_what_was_told_to_whom_and_why_it_was_not_sent(w: make.World) -> None:
    writing.notify([w.keeper, w.guide], "lost", "x", kit=w.day_01)
    sending.send_due()

    page = text_of(browser(w.keeper).get("/notices/"))

    assert "A kit is lost: DAY-01" in page
    assert "To Kim, sent today" in page
    assert "To Gil, created today" in page
    assert "They have no email address on record." in page


def test_a_guide_sees_only_their_own_notices(w: make.World) -> None:
    writing.notify([w.keeper], "lost", "x", kit=w.day_01)
    notice = Notice.objects.get()
    client = browser(w.guide)

    assert "Kim" not in text_of(client.get("/notices/"))
    assert client.get(f"/notices/{notice.pk}/").status_code == 404


def test_what_was_told_is_found_by_name_kind_and_state(w: make.World) -> None:
    writing.notify([w.keeper, w.instructor], "lost", "x", kit=w.day_01)
    writing.notify([w.keeper], "not-back", "y", kit=w.day_02)
    client = browser(w.keeper)

    assert "DAY-02" not in text_of(client.get("/notices/?kind=lost"))
    assert "To Ines" not in text_of(client.get("/notices/?name=ki"))
    assert "No notifications match" in text_of(client.get("/notices/?state=sent"))
    assert client.get("/notices/?state=nonsense&kind=nonsense&before=x").status_code == 200


def test_many_notices_are_leafed_through_and_asked_for_in_few_queries(
    w: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(45):
        writing.notify([w.keeper], "lost", f"x{number}", kit=w.day_01)
    client = browser(w.keeper)

    with django_assert_max_num_queries(9):
        page = client.get("/notices/").content.decode()

    assert page.count("A kit is lost: DAY-01") == 40
    older = present(re.search(r'href="(\?[^"]*before=[^"]*)"', page))[1].replace("&amp;", "&")
    assert client.get(f"/notices/{older}").content.decode().count("A kit is lost: DAY-01") == 5


def test_what_was_not_sent_is_sent_again_by_hand(w: make.World) -> None:
    NotificationPreferences.objects.create(person=w.instructor)
    NotificationChoice.objects.create(person=w.instructor, kind="lost", when="never")
    writing.notify([w.instructor], "lost", "x", kit=w.day_01)
    sending.send_due()
    notice = Notice.objects.get()
    client = browser(w.keeper)
    page = client.get(f"/notices/{notice.pk}/")
    assert "They have turned this kind of notification off." in text_of(page)
    assert "DAY-01" in text_of(page)

    answer = post(client, f"/notices/{notice.pk}/again/")
    sending.send_due()

    again = Notice.objects.exclude(pk=notice.pk).get()
    assert answer["Location"] == f"/notices/{again.pk}/"
    assert again.sent_at is not None
    assert post(browser(w.guide), f"/notices/{notice.pk}/again/").status_code == 403


def test_the_next_weekly_email_is_shown_as_it_would_be_now(w: make.World) -> None:
    shown = browser(w.instructor).get("/notices/weekly/")
    page = text_of(shown)

    assert re.search("To Ines, due (Monday|tomorrow|today)", page)
    assert "Do not take: no Wound dressing 10 × 12 (status for " in page
    today = make.today().isoformat()
    mark = f'data-kit="DAY-02" data-through="{today}" data-trip="" data-verdict="do-not-take"'
    assert mark in " ".join(shown.content.decode().split())
    other = browser(w.keeper).get(f"/notices/weekly/?person={w.instructor.pk}")
    assert "To Ines" in text_of(other)
    assert browser(w.guide).get(f"/notices/weekly/?person={w.instructor.pk}").status_code == 403
    assert browser(w.stranger).get(f"/notices/weekly/?person={w.keeper.pk}").status_code == 404


# ------------------------------------------------------------------------------- how one hears
FIELDS = {
    "weekly_on": "3",
    "weekly_at": "06:30",
    "quiet_from": "22:00",
    "quiet_until": "07:00",
    "minutes_a_kit": "25",
    "when-lost": "weekly",
    "when-weekly": "never",
}


def test_everybody_chooses_what_they_hear_and_when(w: make.World) -> None:
    client = browser(w.guide)

    post(client, "/notices/settings/", **FIELDS)

    row = NotificationPreferences.objects.get(person=w.guide)
    assert (row.weekly_on, row.weekly_at.hour, row.minutes_a_kit) == (3, 6, 25)
    assert present(row.quiet_until).hour == 7
    chosen = preferences.choices(w.guide)
    assert (chosen["lost"], chosen["weekly"], chosen["recall"]) == ("weekly", "never", "at-once")
    page = client.get("/notices/settings/").content.decode()
    assert re.search(r'value="3" selected', page)
    assert 'value="22:00"' in page


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("weekly_at", "soon", "Enter a time of day"),
        ("weekly_on", "8", "a whole number from 0 to 6"),
        ("quiet_until", "", "Enter both the start and the end of the quiet hours"),
        ("when-lost", "maybe", "Choose immediately"),
        ("when-weekly", "at-once", "can only be sent weekly or never"),
    ],
)
def test_what_cannot_be_chosen_is_said_in_a_sentence(
    w: make.World, field: str, value: str, says: str
) -> None:
    answer = post(browser(w.guide), "/notices/settings/", **{**FIELDS, field: value})

    assert answer.status_code == 400
    assert says in text_of(answer)
    assert not NotificationPreferences.objects.exists()


def test_a_recall_cannot_be_turned_off_on_the_page(w: make.World) -> None:
    client = browser(w.guide)
    assert 'name="when-recall"' not in client.get("/notices/settings/").content.decode()

    post(client, "/notices/settings/", **FIELDS, **{"when-recall": "never"})

    assert preferences.choices(w.guide)["recall"] == "at-once"


def test_a_calendars_address_is_shown_once_and_ended(w: make.World) -> None:
    client, key = browser(w.guide), "7d0b4f0e-0a6e-4b1e-9d3c-1f2a3b4c5d6e"

    page = post(client, "/notices/calendar/", key=key).content.decode()
    address = present(re.search(r'value="(http://testserver/api/v1/calendars/[^"]+)"', page))[1]
    assert b"BEGIN:VCALENDAR" in browser().get(address).content
    again = post(client, "/notices/calendar/", key=key)
    assert "/calendars/" not in again.content.decode()
    assert "shown once" in text_of(again)

    post(client, "/notices/calendar/end/")
    assert browser().get(address).status_code == 404


# ------------------------------------------------------------------------------------- people
def test_a_keeper_adds_somebody_and_gives_them_a_tag(w: make.World) -> None:
    client = browser(w.keeper)

    answer = post(client, "/people/add/", name=" Noa  Rill ", phone="1", home_room="main-store")
    person = Person.objects.get(name="Noa Rill")
    assert answer["Location"] == f"/people/{person.pk}/"
    assert "Noa Rill" in text_of(client.get("/people/?search=rill&room=main-store"))

    answer = post(client, f"/people/{person.pk}/tag/")
    tag = Label.objects.get(person=person)
    assert answer["Location"] == f"/labels/print/?codes={tag.code}&sheet=key-ring-a4"


def test_a_name_or_an_address_that_is_none_is_refused_with_the_form_still_filled(
    w: make.World,
) -> None:
    client = browser(w.keeper)

    answer = post(client, "/people/add/", name="", phone="01632 960111", home_room="main-store")
    assert answer.status_code == 400
    assert 'value="01632 960111"' in answer.content.decode()
    answer = post(client, "/people/add/", name="Noa", email="noa", home_room="main-store")
    assert "Enter the full email address" in text_of(answer)
    assert not Person.objects.filter(name="Noa").exists()


def test_a_guide_changes_their_own_phone_and_nobody_elses(w: make.World) -> None:
    client = browser(w.guide)

    post(client, f"/people/{w.guide.pk}/", name="Gil", phone="01632 960999", email="g@example.org")
    assert Person.objects.get(pk=w.guide.pk).phone == "01632 960999"
    assert Person.objects.get(pk=w.guide.pk).home_room == w.store

    answer = post(client, f"/people/{w.keeper.pk}/", name="Kim", email="thief@example.org")
    assert answer.status_code == 403
    assert Person.objects.get(pk=w.keeper.pk).email == "kim@example.org"
    page = client.get(f"/people/{w.keeper.pk}/").content.decode()
    assert "kim@example.org" not in page
    assert client.get(f"/people/{w.stranger.pk}/").status_code == 404


def test_an_administrator_gives_and_takes_roles_and_a_keeper_does_not(
    w: make.World, chief: Person
) -> None:
    roles = {"role": "keeper", "room": "cave-hut"}

    assert post(browser(w.keeper), f"/people/{w.guide.pk}/role/", **roles).status_code == 403
    client = browser(chief)
    post(client, f"/people/{w.guide.pk}/role/", **roles)
    assert Membership.objects.filter(person=w.guide, room=w.hut, role="keeper").exists()
    post(client, f"/people/{w.guide.pk}/role/end/", **roles)
    assert not Membership.objects.filter(person=w.guide, room=w.hut).exists()

    answer = post(client, f"/people/{chief.pk}/role/end/", role="administrator", room="")
    assert answer.status_code == 409
    assert "only administrator" in text_of(answer)


def test_a_new_password_is_shown_once_and_works(w: make.World, chief: Person) -> None:
    client, key = browser(chief), "7d0b4f0e-0a6e-4b1e-9d3c-1f2a3b4c5d6f"
    person = Person.objects.create(name="Noa", home_room=w.store)

    page = post(client, f"/people/{person.pk}/sign-in/", key=key, username="noa")
    password = present(re.search(r"<code>([^<]+)</code>", page.content.decode()))[1]
    assert "<code>" not in post(
        client, f"/people/{person.pk}/sign-in/", key=key, username="noa"
    ).content.decode()  # fmt: skip
    answer = browser().post("/sign-in/", {"username": "noa", "password": password})
    assert answer.status_code == 302

    taken = post(client, f"/people/{w.guide.pk}/sign-in/", username="noa")
    assert taken.status_code == 409
    bad = Person.objects.create(name="Odd", home_room=w.store)
    answer = post(client, f"/people/{bad.pk}/sign-in/", username="no spaces here")
    assert answer.status_code == 400


def test_whoever_left_is_signed_out_at_once_and_comes_back_next_season(w: make.World) -> None:
    guide, keeper = browser(w.guide), browser(w.keeper)
    assert guide.get("/").status_code == 200

    post(keeper, f"/people/{w.guide.pk}/left/")
    assert guide.get("/").status_code == 302
    assert "Gil" in text_of(keeper.get("/people/?left=1"))
    post(keeper, f"/people/{w.guide.pk}/back/")
    assert browser(w.guide).get("/").status_code == 200


def test_the_people_are_asked_for_in_as_many_queries_however_many(
    w: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(20):
        make.person(f"Guide{number}", Role.GUIDE, w.store)
    client = browser(w.keeper)

    with django_assert_max_num_queries(9):
        page = client.get("/people/")

    assert text_of(page).count("Guide1") >= 10


# ------------------------------------------------------------------------------------- rooms
def test_an_administrator_adds_a_room_and_edits_it(w: make.World, chief: Person) -> None:
    client = browser(chief)
    fields = {"name": "Boat house", "time_zone": "Europe/Oslo", "phone": "", "how_to_return": ""}
    rules = {"closing_time": "18:00", "sorting_nights": "1", "opening_pays_from": "7.00"}

    assert post(client, "/rooms/", **fields)["Location"] == "/rooms/boat-house/"
    post(client, "/rooms/boat-house/", **{**fields, **rules, "how_to_return": "By the slip."})
    assert Room.objects.get(slug="boat-house").how_to_return == "By the slip."
    answer = post(
        client, "/rooms/boat-house/", **{**fields, **rules, "time_zone": "Europe/Nowhere"}
    )
    assert answer.status_code == 400
    assert "is not an IANA time zone" in text_of(answer)
    assert post(client, "/rooms/", **fields).status_code == 409
    assert post(browser(w.keeper), "/rooms/", **fields).status_code == 403


def test_shelves_are_added_renamed_walked_in_another_order_closed_and_used_again(
    w: make.World,
) -> None:
    client = browser(w.keeper)

    def walk() -> list[Any]:
        rows = Place.objects.filter(room=w.store, kind="shelf", closed_on=None)
        return list(rows.order_by("position", "name").values_list("name", flat=True))

    post(client, "/rooms/main-store/shelves/", name="A1")
    assert walk() == ["C2", "C3", "A1"]
    a1 = Place.objects.get(name="A1")
    post(client, f"/shelves/{a1.pk}/", do="earlier")
    post(client, f"/shelves/{a1.pk}/", do="earlier")
    assert walk() == ["A1", "C2", "C3"]
    post(client, f"/shelves/{a1.pk}/", do="later")
    assert walk() == ["C2", "A1", "C3"]
    post(client, f"/shelves/{a1.pk}/", name="Cupboard")
    post(client, f"/shelves/{a1.pk}/", do="close")
    assert walk() == ["C2", "C3"]
    post(client, f"/shelves/{a1.pk}/", do="open")
    assert walk() == ["C2", "Cupboard", "C3"]

    assert post(client, f"/shelves/{w.shelf.pk}/", do="close").status_code == 409
    assert post(client, "/rooms/main-store/shelves/", name="C2").status_code == 409
    assert post(browser(w.guide), "/rooms/main-store/shelves/", name="Z").status_code == 403
    assert post(client, f"/shelves/{w.hut_shelf.pk}/", name="Mine").status_code == 404


# ------------------------------------------------------------------------------------ tokens
def test_a_token_is_shown_once_works_and_is_ended(w: make.World) -> None:
    client, key = browser(w.guide), "7d0b4f0e-0a6e-4b1e-9d3c-1f2a3b4c5d60"
    fields = {"name": "Trip booking", "scope": ["read"], "days": "30"}

    page = post(client, "/tokens/", key=key, **fields).content.decode()
    secret = present(re.search(r'value="(gr_[^"]+)"', page))[1]
    assert secret not in post(client, "/tokens/", key=key, **fields).content.decode()
    assert Token.objects.get().scopes == ["read"]

    def asked() -> int:
        headers = {"Authorization": f"Bearer {secret}"}
        return browser().get("/api/v1/kits/", headers=headers).status_code

    assert asked() == 200
    token = Token.objects.get()
    assert post(browser(w.keeper), f"/tokens/{token.pk}/end/").status_code == 404
    post(client, f"/tokens/{token.pk}/end/")
    assert asked() == 401
    assert "Ended" in text_of(client.get("/tokens/"))


@pytest.mark.parametrize(
    "change", [{"name": " "}, {"scope": []}, {"scope": ["everything"]}, {"days": "0"}]
)
def test_a_token_needs_a_name_something_it_may_do_and_an_end(
    w: make.World, change: dict[str, str] | dict[str, list[Any]] | dict[str, list[str]]
) -> None:
    fields = {"name": "x", "scope": ["read"], "days": "30", **change}

    answer = post(browser(w.guide), "/tokens/", **fields)

    assert answer.status_code == 400
    assert not Token.objects.exists()


# ---------------------------------------------------------------------------------- settings
def test_how_the_program_is_set_up_is_shown_to_administrators_without_secrets(
    w: make.World, chief: Person, settings: Settings
) -> None:
    page = text_of(browser(chief).get("/settings/"))

    assert "GEARROOM_PUBLIC_URL" in page
    assert settings.SECRET_KEY not in page
    assert "GEARROOM_PUBLIC_URL" not in text_of(browser(w.keeper).get("/settings/"))
