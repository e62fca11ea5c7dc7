"""The hatch at its worst: everybody at once, and the power goes in the middle of it."""

import random
import threading
import uuid
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections

from gearroom.core.rules.roles import Scope
from gearroom.core.services.accounts import tokens
from kits.models import AsFound, Checkout, Entry, EntryKind, Movement, PlaceKind
from kits.services.custody import custody
from tests.e2e.calls import Answer, Phone
from tests.kits import factories
from tests.kits.factories import World, act
from tests.program import Server

pytestmark = pytest.mark.server


def _token(world: World) -> str:
    assert world.instructor.user is not None
    return tokens.make(user=world.instructor.user, name="hatch", scopes=tuple(Scope))[1]


def test_of_fifty_phones_that_take_one_kit_one_wins_and_the_others_are_told_who(
    open_database: str, make_server: Callable[..., Server]
) -> None:
    world = factories.world()
    secret = _token(world)
    connections.close_all()
    server = make_server().start()
    phone = Phone(server.url, secret)
    body = {"person": str(world.guide.pk), "short_reason": "one tap"}

    with ThreadPoolExecutor(50) as pool:
        answers = list(pool.map(lambda _: phone.post("kits/DAY-01/check-out/", body), range(50)))

    assert Counter(answer.status for answer in answers) == {201: 1, 409: 49}
    for answer in answers:
        if answer.status == 409:
            assert answer.body["code"] == "kit-is-out"
            assert answer.body["person_name"] == "Gil"
            assert answer.body["since"]
    assert Checkout.objects.filter(kit=world.day_01, in_at=None).count() == 1
    assert "database is locked" not in server.log.read_text()
    assert server.manage("audit").returncode == 0


def test_a_power_cut_among_two_hundred_hand_backs_loses_none_and_doubles_none(
    open_database: str, make_server: Callable[..., Server]
) -> None:
    world = factories.world()
    secret = _token(world)
    connections.close_all()
    server = make_server().start()
    phone = Phone(server.url, secret)
    keys = [uuid.uuid4() for _ in range(200)]
    body = {"as_found": AsFound.OPENED, "used": [{"item": world.dressing.pk, "units": 1}]}
    answered: list[uuid.UUID] = []
    cut = threading.Event()

    def hand_back(key: uuid.UUID) -> Answer | None:
        if cut.is_set():
            return None
        try:
            answer = phone.post("kits/DAY-01/check-in/", body, key)
        except OSError:
            return None
        answered.append(key)
        if len(answered) == 40:
            cut.set()
            server.kill()
        return answer

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(hand_back, keys))
    assert cut.is_set()
    server.start()
    again = list(keys)
    random.Random(7).shuffle(again)
    with ThreadPoolExecutor(8) as pool:
        statuses = list(
            pool.map(lambda key: phone.post("kits/DAY-01/check-in/", body, key).status, again)
        )

    assert statuses == [200] * len(keys)
    for kind in (EntryKind.CHECK_IN, EntryKind.USE):
        written = Counter(Entry.objects.filter(kind=kind).values_list("key", flat=True))
        assert written == Counter(keys)
    used = Movement.objects.filter(to_place__kind=PlaceKind.USED)
    assert sum(used.values_list("units", flat=True)) == len(keys)
    assert server.manage("audit").returncode == 0


def test_it_here_take_it_back_then_out_again_is_two_acts(
    open_database: str, make_server: Callable[..., Server]
) -> None:
    world = factories.world()
    secret = _token(world)
    custody.check_out(act(world.keeper), world.day_01, person=world.guide, short_reason="late")
    connections.close_all()
    phone = Phone(make_server().start().url, secret)
    body = {"person": str(world.instructor.pk), "short_reason": "late"}

    assert phone.post("kits/DAY-01/check-out/", body).status == 409
    assert phone.post("kits/DAY-01/check-in/", {"as_found": "sealed-and-dry"}).status == 200
    assert phone.post("kits/DAY-01/look-inside/").status == 200
    assert phone.post("kits/DAY-01/check-out/", body).status == 201
