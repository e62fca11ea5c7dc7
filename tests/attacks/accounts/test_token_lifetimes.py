"""A token outlasts nothing that it was made with: neither its parent nor its maker's right."""

import json
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from gearroom.core.models import Membership, Person, Room, Token, User
from gearroom.core.rules.roles import Role, Scope
from gearroom.core.services.accounts import tokens
from gearroom.core.services.people import people
from tests.core.api.made import Caller, act_of, is_problem
from tests.present import present

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


def secret_of(answer: Any) -> Any:
    assert answer.status_code == 201, answer.content
    return json.loads(answer.content)["secret"]


def caller_with(secret: Any) -> Caller:
    call = Caller.__new__(Caller)
    call.token, call.secret, call.client = present(tokens.by_secret(secret)), secret, Client()
    return call


@pytest.mark.parametrize("days", [None, 2, 3650])
def test_a_token_outlasts_nothing_that_it_was_made_with(chief: User, days: int | None) -> None:
    short, secret = tokens.make(user=chief, name="a day", scopes=Scope, days=1)
    child = caller_with(
        secret_of(
            caller_with(secret).post("tokens/", {"name": "x", "scopes": ["admin"], "days": days})
        )
    )
    grandchild = secret_of(child.post("tokens/", {"name": "y", "scopes": ["admin"], "days": days}))

    assert set(Token.objects.values_list("expires_at", flat=True)) == {short.expires_at}
    with time_machine.travel(timezone.now() + timedelta(days=1, seconds=1)):
        assert tokens.by_secret(grandchild) is None


def test_ending_a_token_ends_those_made_with_it(chief: User) -> None:
    first, secret = tokens.make(user=chief, name="stolen", scopes=Scope)
    child = caller_with(
        secret_of(caller_with(secret).post("tokens/", {"name": "x", "scopes": ["read", "admin"]}))
    )
    grandchild = caller_with(secret_of(child.post("tokens/", {"name": "y", "scopes": ["read"]})))
    assert grandchild.get("rooms/").status_code == 200

    tokens.revoke(act_of(chief), first)

    for call in (child, grandchild):
        is_problem(call.get("rooms/"), 401, "token-refused")


@pytest.fixture
def program(chief: User, local: User, store: Room) -> str:
    """A booking program whose sign-in the room's administrator gave it, with a token it made."""
    person = Person.objects.create(name="Booking", home_room=store)
    people.add_role(act_of(chief), person, Role.INTEGRATION, store)
    user, _ = people.give_sign_in(act_of(local), person, "booking")
    first = tokens.make_own(
        act_of(User.objects.get(pk=user.pk)), name="Trips", scopes=[Scope.TRIPS], days=None
    )
    return first[1]


@pytest.mark.parametrize("how", ["role", "left", "role there"])
def test_a_programs_token_ends_when_its_maker_loses_the_right(
    program: str, chief: User, local: User, hut: Room, how: str
) -> None:
    assert tokens.by_secret(program) is not None
    if how == "left":
        people.leave(act_of(chief), local.person)
    elif how == "role":
        Membership.objects.filter(person=local.person).delete()
    else:  # it may more than its maker now
        booking = Person.objects.get(name="Booking")
        people.add_role(act_of(chief), booking, Role.INTEGRATION, hut)

    assert tokens.by_secret(program) is None
    Membership.objects.create(person=local.person, role=Role.ADMINISTRATOR.value)
    assert tokens.by_secret(program) is None  # ended, not only refused


def test_a_programs_token_works_while_its_maker_has_the_right(
    program: str, local: User, hut: Room
) -> None:
    Membership.objects.create(person=local.person, room=hut, role=Role.GUIDE.value)

    assert tokens.by_secret(program) is not None
