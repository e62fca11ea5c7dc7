"""Making a new installation one's own, and whoever else tries to."""

import pytest
from django.core.cache import cache
from django.test import Client

from gearroom.core.models import Installation, InstallationChange, Person, Room, User
from gearroom.core.models.installation import current
from gearroom.core.rules.roles import Role
from gearroom.core.services.installation import claiming
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, text_of

pytestmark = PAGES_ON_SQLITE

SAYS = {
    "name": "Kim Reed",
    "username": "kim",
    "password": "wet ropes hang to dry",
    "email": "kim@umberfell.example",
    "organisation": "Umberfell Outdoor School",
    "room": "Main store",
    "time_zone": "Europe/Berlin",
    "language": "en-gb",
}


def begin(**more: str) -> Client:
    client = Client()
    client.post(f"/begin/{claiming.code()}/", {**SAYS, **more})
    return client


def test_the_login_leads_to_the_code_while_nobody_has_one(db: None) -> None:
    assert Client().get("/sign-in/")["Location"] == "/begin/"
    assert "printed a code" in text_of(Client().get("/begin/"))
    answer = Client().post("/begin/", {"code": claiming.code().upper().replace("-", " ")})
    assert answer["Location"] == f"/begin/{claiming.code()}/"


def test_whoever_has_the_code_is_greeted_by_name_and_may_do_everything(db: None) -> None:
    page = begin(signs="1").get("/settings/address/")

    assert "Welcome, Kim Reed." in text_of(page)
    person, room = Person.objects.get(), Room.objects.get()
    assert (person.home_room, room.name, room.time_zone) == (room, "Main store", "Europe/Berlin")
    assert not person.memberships.exclude(room=None).exists()
    roles = set(person.memberships.values_list("role", flat=True))
    assert roles == {Role.ADMINISTRATOR.value, Role.ADVISER.value}
    assert current().organisation == "Umberfell Outdoor School"
    assert InstallationChange.objects.get().person == person
    assert person.user and person.user.check_password(SAYS["password"])


def test_whoever_does_not_sign_lists_is_no_adviser(db: None) -> None:
    begin()
    assert not Person.objects.filter(memberships__role=Role.ADVISER.value).exists()


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("password", "short", "too short"),
        ("name", " ", "Enter your name."),
        ("email", "kim@", "valid email"),
        ("time_zone", "Mars/Base", "not an IANA time zone"),
        ("username", "kim reed!", "valid username"),
        ("room", "", "Enter a name for the gear room."),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_made(
    db: None, field: str, value: str, says: str
) -> None:
    answer = Client().post(f"/begin/{claiming.code()}/", {**SAYS, field: value})

    assert answer.status_code == 400
    assert says in text_of(answer)
    assert "wet ropes" not in answer.content.decode()
    assert not User.objects.exists() and not Room.objects.exists()


def test_a_stranger_guesses_in_vain_and_not_for_long(db: None) -> None:
    cache.clear()
    for _ in range(20):
        assert Client().post("/begin/aaaa-bbbb-cccc/", SAYS).status_code == 404
    answer = Client().post("/begin/", {"code": "aaaa-bbbb-cccd"})

    assert "Too many attempts" in text_of(answer)
    assert not User.objects.exists()
    assert Client().get(f"/begin/{claiming.code()}/").status_code == 200  # whoever has it may


def test_going_back_after_it_leads_whoever_is_logged_in_to_the_front_page(db: None) -> None:
    code = claiming.code()
    client = begin()
    for path in ("/begin/", f"/begin/{code}/"):
        assert client.get(path)["Location"] == "/"


def test_once_it_is_claimed_the_code_opens_nothing(db: None) -> None:
    begin()
    for method in ("get", "post"):
        for path in ("/begin/", f"/begin/{claiming.code()}/"):
            answer = getattr(Client(), method)(path, {**SAYS, "username": "eve"})
            assert answer["Location"] == "/sign-in/", (method, path)
    assert User.objects.count() == 1


def test_where_somebody_has_a_login_already_nobody_claims(db: None) -> None:
    make.person("Ada", Role.ADMINISTRATOR)
    assert begin().get("/settings/").status_code == 302
    assert not Installation.objects.exists() and User.objects.count() == 1
