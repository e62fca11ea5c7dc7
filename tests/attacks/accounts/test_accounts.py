"""Whoever changes how somebody signs in, or where mail reaches them, gets all that they may do. So
that needs the right over all of it, and whom it concerns is told at the address from before."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.models import AccountChange, Membership, Person, Room, SignedIn, User
from gearroom.core.rules.roles import Role, Scope
from gearroom.core.services.accounts import sign_ins
from gearroom.core.services.people import people
from gearroom.site.mail import account_mail
from tests.core.api.made import Caller, act_of, is_problem, somebody
from tests.site.browsing import browser, post

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
PASSWORD = "wet ropes hang to dry"


def victim(store: Room, *roles: tuple[Room, Role] | tuple[None, Role]) -> User:
    """Somebody at home in the store, with a sign-in, an address and these roles by room."""
    user = somebody("victim")
    Person.objects.filter(pk=user.person.pk).update(email="old@example.org", home_room=store)
    for room, role in roles:
        Membership.objects.create(person=user.person, room=room, role=role.value)
    return User.objects.get(pk=user.pk)


def told(mail: Any) -> tuple[Any, Any]:
    return mail["To"].addresses[0].addr_spec, mail.get_body(["plain"]).get_content()


# ------------------------------------------------------------------- who changes whose account
BEYOND_A_KEEPER = {
    "an administrator of the room": lambda store, hut: [(store, Role.ADMINISTRATOR)],
    "an administrator of another room": lambda store, hut: [
        (store, Role.GUIDE),
        (hut, Role.ADMINISTRATOR),
    ],
    "a guide of another room as well": lambda store, hut: [
        (store, Role.GUIDE),
        (hut, Role.GUIDE),
    ],
    "another keeper": lambda store, hut: [(store, Role.KEEPER)],
    "the adviser": lambda store, hut: [(store, Role.ADVISER)],
    "a program": lambda store, hut: [(store, Role.INTEGRATION)],
}
beyond = pytest.mark.parametrize("roles", BEYOND_A_KEEPER.values(), ids=BEYOND_A_KEEPER)


def ways_in(caller: Caller, person: Person, other: Person) -> dict[Any, Any]:
    """Every way to another's account: what the API answered to each, by name."""
    path = f"people/{person.pk}/"
    return {
        "address": caller.patch(path, {"email": "mine@example.org"}),
        "sign-in": caller.post(f"{path}sign-in/"),
        "left": caller.post(f"{path}left/"),
        "back": caller.post(f"{path}back/"),
        "merged into another": caller.post(f"{path}merge/", {"into": other.pk}),
        "another merged into it": caller.post(f"people/{other.pk}/merge/", {"into": person.pk}),
    }


@beyond
def test_a_keeper_gets_no_hold_of_an_account_that_may_more(
    keeper: User, store: Room, hut: Room, roles: Any
) -> None:
    user = victim(store, *roles(store, hut))
    other = Person.objects.create(name="Sam", home_room=store)
    before = Person.objects.filter(pk=user.person.pk).values().get()

    for way, answer in ways_in(Caller(keeper), user.person, other).items():
        program = "merged" in way and people.is_program(user.person)
        assert answer.status_code == (409 if program else 403), (way, answer.content)

    assert Person.objects.filter(pk=user.person.pk).values().get() == before
    assert Person.objects.get(pk=other.pk).merged_into is None


@beyond
def test_nor_by_the_pages(keeper: User, store: Room, hut: Room, roles: Any) -> None:
    user = victim(store, *roles(store, hut))
    page = f"/people/{user.person.pk}/"
    client = browser(keeper.person)
    fields = {"name": "victim", "email": "mine@example.org", "home_room": store.slug}

    assert "readonly" in client.get(page).content.decode()
    assert post(client, page, **fields).status_code == 403
    assert post(client, f"{page}sign-in/").status_code == 403
    assert post(client, f"{page}left/").status_code == 403
    assert Person.objects.get(pk=user.person.pk).email == "old@example.org"
    post(client, page, **{**fields, "email": "old@example.org", "phone": "01632 960001"})
    assert Person.objects.get(pk=user.person.pk).phone == "01632 960001"


def test_an_administrator_of_one_room_gets_no_hold_of_its_adviser(local: User, store: Room) -> None:
    user = victim(store, (store, Role.ADVISER))
    other = Person.objects.create(name="Sam", home_room=store)

    for way, answer in ways_in(Caller(local), user.person, other).items():
        assert answer.status_code == 403, (way, answer.content)


def test_a_keeper_looks_after_the_guides_of_their_room(keeper: User, store: Room) -> None:
    person = victim(store, (store, Role.GUIDE)).person

    answer = Caller(keeper).patch(f"people/{person.pk}/", {"email": "new@example.org"})

    assert answer.status_code == 200
    assert Person.objects.get(pk=person.pk).email == "new@example.org"


def test_a_forgotten_password_goes_to_nobody_elses_address(
    keeper: User, store: Room, outbox: Callable[[], Any]
) -> None:
    """The attack as it was found: address changed, password forgotten, administrator."""
    user = victim(store, (None, Role.ADMINISTRATOR), (store, Role.GUIDE))
    Caller(keeper).patch(f"people/{user.person.pk}/", {"email": "mine@example.org"})

    Client().post("/sign-in/forgotten/", {"name": "victim"})
    account_mail.send_resets()

    assert [told(mail)[0] for mail in outbox()] == ["old@example.org"]


@pytest.mark.parametrize("scopes", [[Scope.PEOPLE], sorted(set(Scope) - {Scope.ADMIN})])
def test_a_token_for_less_changes_no_account_not_even_ones_own(
    chief: User, store: Room, scopes: list[Scope]
) -> None:
    user = victim(store, (store, Role.GUIDE))
    call = Caller(chief, [Scope.READ, *scopes])

    for person in (user.person, chief.person):
        path = f"people/{person.pk}/"
        is_problem(call.patch(path, {"email": "mine@example.org"}), 403, "scope-missing")
        is_problem(call.post(f"{path}sign-in/"), 403, "scope-missing")


# ----------------------------------------------------------------------------------- who is told
def test_the_old_address_is_told_and_not_the_new_one(
    chief: User, store: Room, outbox: Callable[[], Any]
) -> None:
    person = victim(store, (store, Role.GUIDE)).person
    Caller(chief).patch(f"people/{person.pk}/", {"email": "new@example.org"})

    (mail,) = outbox()

    to, says = told(mail)
    assert to == "old@example.org"
    assert "now go to another address" in says and "Changed by chief" in says
    assert "new@example.org" not in mail.as_string()
    assert AccountChange.objects.get().address == ""
    assert len(outbox()) == 1  # once


def test_a_change_of_ones_own_is_told_too(store: Room, outbox: Callable[[], Any]) -> None:
    user = victim(store, (store, Role.GUIDE))
    Caller(user).patch(f"people/{user.person.pk}/", {"email": "new@example.org"})

    (mail,) = outbox()

    assert told(mail)[0] == "old@example.org"
    assert "You made this change yourself" in told(mail)[1]


def test_what_stays_as_it_is_is_not_told(
    chief: User, store: Room, outbox: Callable[[], Any]
) -> None:
    person = victim(store, (store, Role.GUIDE)).person

    Caller(chief).patch(f"people/{person.pk}/", {"email": "old@example.org", "phone": "1"})

    assert outbox() == []


def test_a_new_password_a_pin_and_a_sign_in_are_told(
    chief: User, store: Room, outbox: Callable[[], Any]
) -> None:
    user = victim(store, (store, Role.GUIDE))
    user.set_password(PASSWORD)
    user.save()
    mine = Client()
    mine.post("/sign-in/", {"username": "victim", "password": PASSWORD})
    mine.post("/signed-in/pin/", {"password": PASSWORD, "pin": "2580"})
    mine.post("/signed-in/password/", {"old": PASSWORD, "new": "the river is up today"})
    people.give_sign_in(act_of(chief), Person.objects.get(pk=user.person.pk))

    said = [told(mail)[1] for mail in outbox()]

    assert ["Your PIN" in said[0], "Your password" in said[1]] == [True, True]
    assert "Changed by chief" in said[2]


def test_a_mail_that_was_not_taken_is_tried_again_for_a_week(
    chief: User, store: Room, outbox: Callable[[], Any], settings: Settings
) -> None:
    person = victim(store, (store, Role.GUIDE)).person
    Caller(chief).patch(f"people/{person.pk}/", {"email": "new@example.org"})
    folder = settings.EMAIL_OUTBOX_DIR
    folder.parent.joinpath("a-file").write_text("no folder")
    settings.EMAIL_OUTBOX_DIR = folder.parent / "a-file" / "outbox"
    assert account_mail.send_changes() == 0
    settings.EMAIL_OUTBOX_DIR = folder
    assert len(outbox()) == 1
    Caller(chief).patch(f"people/{person.pk}/", {"email": "third@example.org"})
    with time_machine.travel(timezone.now() + timedelta(days=8)):
        assert account_mail.send_changes() == 0
    assert set(AccountChange.objects.values_list("address", flat=True)) == {""}


# ---------------------------------------------------------------------------- what a reset ends
def test_a_link_ends_with_the_address_that_it_went_to(store: Room) -> None:
    user = victim(store, (store, Role.GUIDE))
    uid, token = sign_ins.link_of(user)

    people.edit(act_of(user), user.person, email="new@example.org")

    assert sign_ins.user_of(uid, token) is None


@pytest.mark.parametrize("how", ["link", "administrator"])
def test_another_password_ends_sessions_and_tokens(chief: User, store: Room, how: str) -> None:
    user = victim(store, (store, Role.GUIDE))
    user.set_password(PASSWORD)
    user.save()
    thief, call = Client(), Caller(user)
    thief.post("/sign-in/", {"username": "victim", "password": PASSWORD})
    assert thief.get("/kits/").status_code == 200
    assert call.get("rooms/").status_code == 200

    if how == "link":
        uid, token = sign_ins.link_of(User.objects.get(pk=user.pk))
        path = f"/sign-in/new/{uid}/{token}/"
        assert Client().post(path, {"new": "the river is up today"}).status_code == 200
    else:
        assert Caller(chief).post(f"people/{user.person.pk}/sign-in/").status_code == 201

    assert thief.get("/kits/").status_code == 302
    is_problem(call.get("rooms/"), 401, "token-refused")
    assert not SignedIn.objects.filter(user=user).exists()


# -------------------------------------------------------------------------------------- advisers
ADVISER = {"role": "adviser", "room": "main-store"}


def test_an_administrator_of_a_room_appoints_no_adviser_and_ends_none(
    local: User, keeper: User, store: Room
) -> None:
    sam = victim(store, (store, Role.GUIDE)).person
    adviser = somebody("adviser", Role.ADVISER, store).person
    for caller in (Caller(local), Caller(keeper)):
        is_problem(caller.post(f"people/{sam.pk}/roles/", ADVISER), 403, "role-missing")
        is_problem(caller.post(f"people/{adviser.pk}/roles/end/", ADVISER), 403, "role-missing")


def test_an_administrator_of_every_room_appoints_another_and_never_themselves(
    chief: User, store: Room
) -> None:
    sam = victim(store, (store, Role.GUIDE)).person
    call = Caller(chief)

    assert call.post(f"people/{sam.pk}/roles/", ADVISER).status_code == 200
    for body in (ADVISER, {"role": "adviser", "room": None}):
        is_problem(call.post(f"people/{chief.person.pk}/roles/", body), 403, "not-oneself")
    page = browser(chief.person).get(f"/people/{chief.person.pk}/").content.decode()
    assert 'value="keeper"' in page and 'value="adviser"' not in page


@pytest.mark.parametrize("into_oneself", [True, False])
def test_nobody_becomes_the_adviser_by_being_one_with_their_record(
    chief: User, store: Room, into_oneself: bool
) -> None:
    adviser = Person.objects.create(name="Dr Nell", home_room=store)
    Membership.objects.create(person=adviser, role=Role.ADVISER.value)
    pair = (adviser, chief.person) if into_oneself else (chief.person, adviser)

    answer = Caller(chief).post(f"people/{pair[0].pk}/merge/", {"into": pair[1].pk})

    is_problem(answer, 403, "not-oneself")
    assert not Membership.objects.filter(person=chief.person, role="adviser").exists()
