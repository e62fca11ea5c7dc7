"""`manage.py issue_token USERNAME` prints a new token, alone, that works."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from gearroom.core.models import Token, User
from gearroom.core.rules.roles import Role, Scope
from tests.core.api.made import somebody
from tests.present import present

pytestmark = pytest.mark.django_db


def issue(*arguments: str) -> str:
    out = StringIO()
    call_command("issue_token", *arguments, stdout=out)
    return out.getvalue()


def test_it_prints_a_token_and_nothing_else(admin: User) -> None:
    printed = issue("ADMIN")
    assert printed.endswith("\n") and printed.count("\n") == 1
    headers = {"authorization": f"Bearer {printed.strip()}"}
    rooms = Client().get("/api/v1/rooms/", headers=headers)
    assert (rooms.status_code, json.loads(rooms.content)["results"]) == (200, [])
    assert Token.objects.get().scopes == [Scope.READ]


def test_it_gives_every_scope_to_whoever_asks_for_all(admin: User) -> None:
    issue("admin", "--scopes", "all")
    assert set(Token.objects.get().scopes) == set(Scope)


def test_it_makes_a_new_one_each_time(admin: User) -> None:
    assert issue("admin") != issue("admin")
    assert Token.objects.count() == 2


def test_it_limits_scopes_and_days_as_told(admin: User) -> None:
    issue("admin", "--scopes", "read,trips", "--days", "7", "--name", "Booking")
    token = Token.objects.get()
    assert (token.scopes, token.name) == (["read", "trips"], "Booking")
    assert (present(token.expires_at) - token.created_at).days == 7


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["nobody"], "no user nobody"),
        (["admin", "--scopes", "everything"], "no scope “everything”. Valid scopes: admin"),
        (["admin", "--days", "0"], "for 1 to 3650 days"),
    ],
)
def test_it_says_what_is_wrong(admin: User, arguments: list[str], says: str) -> None:
    with pytest.raises(CommandError, match=says):
        issue(*arguments)
    assert not Token.objects.exists()


def test_it_makes_none_for_who_may_not_sign_in(admin: User) -> None:
    user = somebody("gone", Role.GUIDE)
    User.objects.filter(pk=user.pk).update(is_active=False)
    with pytest.raises(CommandError, match="can no longer log in"):
        issue("gone")
