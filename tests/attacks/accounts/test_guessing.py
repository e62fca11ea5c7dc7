"""What guards an account is counted in the database before it is looked at: no number of tries at
once, from anywhere, gets more through than the limit, and no owner is kept out by others."""

import secrets
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from gearroom.core.acts import NotAllowed, TooOften
from gearroom.core.models import TryCount, User
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import attempts, shared_devices, sign_ins
from tests.core.api.made import at_once, somebody

PASSWORD = "wet ropes hang to dry"
both = pytest.mark.django_db
doors = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


def with_marks(test: Any) -> Any:
    for mark in doors:
        test = mark(test)
    return test


@pytest.fixture
def owner() -> User:
    user = somebody("owner", Role.ADMINISTRATOR)
    user.set_password(PASSWORD)
    user.save()
    return user


def sign_in(
    client: Client | None = None,
    password: str = "guessed it",
    name: str = "owner",
    address: Any = "203.0.113.9",
) -> int:
    client = client or Client()
    said = {"username": name, "password": password}
    return client.post("/sign-in/", said, REMOTE_ADDR=address).status_code


def addresses(number: int) -> list[Any]:
    return [f"198.51.{n // 250}.{n % 250 + 1}" for n in range(number)]


# ---------------------------------------------------------------------------------- at once
def test_of_sixty_pins_at_once_eight_are_looked_at(open_database: str) -> None:
    person = somebody("keeper", Role.KEEPER).person
    person.pin = "!"  # never right
    person.save()

    found = at_once(60, lambda n: shared_devices.confirm(person, f"{n:04}"))

    kinds = [type(each) for each in found]
    assert (kinds.count(NotAllowed), kinds.count(TooOften)) == (8, 52), found


def test_of_sixty_tries_at_once_ten_go_on(open_database: str) -> None:
    found = at_once(60, lambda _: attempts.count("sign-in", "203.0.113.9 owner"))

    assert sorted(found)[:10] == [0] * 10
    assert all(0 < wait <= 60 for wait in sorted(found)[10:]), found
    assert TryCount.objects.get().used == 60


def test_right_ones_at_once_are_all_given_back(open_database: str) -> None:
    for _ in range(3):
        attempts.count("pin", "7")

    def right(_: object) -> None:
        attempts.count("pin", "7")
        attempts.give_back("pin", "7")

    at_once(30, right)

    assert TryCount.objects.get().used == 3


# --------------------------------------------------------------------------------- the count
@both
def test_a_count_starts_anew_when_its_time_is_over(db: None) -> None:
    with time_machine.travel(timezone.now(), tick=False) as now:
        assert [attempts.count("pin", "7") for _ in range(9)] == [0] * 8 + [3600]
        now.shift(timedelta(minutes=59))
        assert attempts.count("pin", "7") == 60
        now.shift(timedelta(minutes=1))
        assert attempts.count("pin", "7") == 0
        assert TryCount.objects.get().used == 1


@both
def test_whoever_asked_a_second_earlier_is_kept_waiting_no_longer(db: None) -> None:
    """Of several at once, one that looked at the clock first may be counted last."""
    with time_machine.travel(timezone.now(), tick=False) as now:
        for _ in range(8):
            attempts.count("pin", "7")
        now.shift(timedelta(seconds=-1))
        assert attempts.count("pin", "7") == 3600


@both
def test_old_counts_are_forgotten_and_new_ones_stay(db: None) -> None:
    with time_machine.travel(timezone.now(), tick=False) as now:
        attempts.count("sign-in", "a")
        attempts.count("pin", "7")
        now.shift(timedelta(minutes=2))
        assert attempts.forget_old() == 1
    assert [row.guard for row in TryCount.objects.all()] == ["pin"]


@with_marks
def test_no_number_of_other_names_pushes_a_count_out(owner: User) -> None:
    for number in range(8):
        with pytest.raises(NotAllowed):
            _confirm(owner, f"{number:04}")
    for number, address in enumerate(addresses(400)):
        sign_in(name=f"nobody-{number}", address=address)
        cache.clear()  # as it was pushed out before

    with pytest.raises(TooOften):
        _confirm(owner, "2580")


def _confirm(owner: User, pin: str) -> None:
    owner.person.pin = owner.person.pin or "!"
    shared_devices.confirm(owner.person, pin)


# ----------------------------------------------------------------- the owner is never kept out
@with_marks
def test_a_browser_that_is_known_signs_in_whatever_is_tried_elsewhere(owner: User) -> None:
    mine = Client()
    assert sign_in(mine, PASSWORD) == 302
    mine.post("/sign-out/")
    for address in addresses(70):
        sign_in(address=address)
    for _ in range(40):  # and from one's own address
        sign_in()

    assert sign_in(address="198.51.9.9") == 429
    assert sign_in(Client(), PASSWORD, address="198.51.9.9") == 429
    assert sign_in(mine, PASSWORD) == 302


@with_marks
def test_a_known_browser_guesses_no_faster_than_another(owner: User) -> None:
    mine = Client()
    sign_in(mine, PASSWORD)
    mine.post("/sign-out/")

    answers = [sign_in(mine, str(number)) for number in range(12)]

    assert answers == [403] * 9 + [429] * 3 or answers == [403] * 10 + [429] * 2


@with_marks
def test_a_browser_known_to_another_is_not_known_to_the_owner(owner: User) -> None:
    thief = somebody("thief", Role.GUIDE)
    thief.set_password(PASSWORD)
    thief.save()
    theirs = Client()
    assert sign_in(theirs, PASSWORD, name="thief") == 302
    for address in addresses(70):
        sign_in(address=address)

    assert sign_in(theirs, PASSWORD) == 429
    theirs.cookies["known_browser"] = "made-up"
    assert sign_in(theirs, PASSWORD) == 429


@with_marks
def test_whoever_is_kept_out_chooses_a_new_password_and_signs_in(owner: User) -> None:
    for address in addresses(70):
        sign_in(address=address)
    uid, token = sign_ins.link_of(owner)
    mine = Client()
    assert sign_in(mine, PASSWORD) == 429

    assert mine.post(f"/sign-in/new/{uid}/{token}/", {"new": "the river is up"}).status_code == 200

    assert sign_in(mine, "the river is up") == 302


@with_marks
def test_guessing_from_many_addresses_is_slowed_down(owner: User) -> None:
    answers = [sign_in(address=address) for address in addresses(100)]

    assert answers.count(403) == 60 and answers.count(429) == 40


@with_marks
def test_guessing_many_names_from_one_address_is_slowed_down(owner: User) -> None:
    answers = [sign_in(name=f"name-{number}") for number in range(40)]

    assert answers.count(403) == 30


@with_marks
def test_trying_links_is_slowed_down(owner: User) -> None:
    answers = [
        Client().post(f"/sign-in/new/MQ/{secrets.token_hex(8)}/", {"new": PASSWORD}).status_code
        for _ in range(25)
    ]

    assert answers == [404] * 20 + [429] * 5
