"""Limits by address go by who asks: not by the proxy in front, nor by what a client writes."""

from pathlib import Path
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from pytest_django import Settings
from rest_framework.settings import api_settings

from gearroom.core.models import SignedIn, User
from gearroom.core.rules.proxies import networks
from gearroom.core.rules.roles import Role
from tests.core.api.made import somebody
from tests.program import environment, manage

PROXY = "10.0.0.7"


def sign_in(peer: str, forwarded: str = "", name: str = "nobody", password: str = "wrong") -> Any:
    headers = {"x-forwarded-for": forwarded} if forwarded else {}
    return Client(REMOTE_ADDR=peer).post(
        "/sign-in/", {"username": name, "password": password}, headers=headers
    )


@pytest.fixture
def user(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> User:
    cache.clear()
    monkeypatch.setitem(api_settings.DEFAULT_THROTTLE_RATES, "sign-in-address", "5/hour")
    settings.PROXIES = networks([PROXY])
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    user = somebody("gil", Role.GUIDE)
    user.set_password("a long password")
    user.save()
    return user


@pytest.mark.django_db
def test_one_client_behind_a_proxy_does_not_use_up_the_tries_of_all(user: User) -> None:
    statuses = [sign_in(PROXY, "198.51.100.9", f"name-{n}").status_code for n in range(6)]
    assert statuses == [403] * 5 + [429]
    assert sign_in(PROXY, "198.51.100.10").status_code == 403


@pytest.mark.django_db
@pytest.mark.parametrize("peer", ["198.51.100.9", PROXY])
def test_who_writes_other_addresses_into_the_header_is_counted_all_the_same(
    user: User, peer: str
) -> None:
    own = ", 198.51.100.9" if peer == PROXY else ""
    statuses = [sign_in(peer, f"203.0.113.{n}{own}", f"name-{n}").status_code for n in range(6)]
    assert statuses == [403] * 5 + [429]


@pytest.mark.django_db
def test_the_list_of_sign_ins_shows_the_clients_address(user: User) -> None:
    assert sign_in(PROXY, "198.51.100.9", "gil", "a long password").status_code == 302
    assert SignedIn.objects.get().address == "198.51.100.9"
    cache.clear()
    assert sign_in("198.51.100.1", "198.51.100.9", "gil", "a long password").status_code == 302
    assert set(SignedIn.objects.values_list("address", flat=True)) == {
        "198.51.100.9",
        "198.51.100.1",
    }


def test_a_proxy_that_is_no_address_is_refused_at_start(tmp_path: Path) -> None:
    env = environment(tmp_path, GEARROOM_PROXIES="*")
    done = manage("audit", env=env, check=False)
    assert done.returncode and "GEARROOM_PROXIES" in done.stderr
    assert "such as 10.0.0.7" in done.stderr
