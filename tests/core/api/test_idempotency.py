"""Every act once, however often and from however many sides it is sent."""

import os
import signal
import subprocess
import sys
import threading
import uuid
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connections
from django.db.models import Value
from django.db.models.functions import Concat

from gearroom.core.acts import NotAllowed, Problem, Refused, Unacceptable, document
from gearroom.core.acts.key_locks import KeyLocked, locked_transaction
from gearroom.core.models import KeptAnswer, Room, User
from gearroom.core.services.idempotency import Answer, once
from tests.core.api.made import a_room, at_once
from tests.present import present
from tests.program import PROJECT, environment

KEY = uuid.UUID("123e4567-e89b-42d3-a456-426614174000")


def do(
    perform: Any,
    *,
    key: uuid.UUID = KEY,
    user: User | None = None,
    request: Any = "one",
    **more: Any,
) -> Answer:
    return once(key=key, user=user, request=request, perform=perform, **more)


def add_a_room(slug: str = "main-store") -> Callable[[], tuple[int, dict[str, Any]]]:
    return lambda: (201, {"slug": a_room(slug).slug, "b": 1, "aaa": [1.50, None]})


@pytest.mark.django_db
def test_the_second_time_the_first_answer_is_given_and_nothing_done() -> None:
    first = do(add_a_room())
    again = do(lambda: pytest.fail("done again"))
    assert (first.status, first.first_at) == (201, None)
    assert again.first_at is not None
    assert str(again.body) == str(first.body), "the order of members too"
    assert Room.objects.count() == 1


@pytest.mark.django_db
def test_the_order_in_which_a_request_names_things_does_not_matter() -> None:
    do(add_a_room(), request={"a": 1, "b": {"c": 2, "d": 3}})
    assert do(add_a_room(), request={"b": {"d": 3, "c": 2}, "a": 1}).first_at is not None


@pytest.mark.django_db
@pytest.mark.parametrize("other", [{"a": 2}, {"a": "1"}, {"a": True}, {"a": 1, "b": None}, {}])
def test_a_key_stands_for_one_content(other: Any) -> None:
    do(add_a_room(), request={"a": 1})
    with pytest.raises(Unacceptable, match="used for another request") as caught:
        do(add_a_room("other"), request=other)
    assert caught.value.code == "key-reused"
    assert Room.objects.count() == 1


@pytest.mark.django_db
def test_a_key_stands_for_one_user() -> None:
    one, two = (User.objects.create_user(name) for name in ("one", "two"))
    do(add_a_room(), user=one)
    for other in (two, None):
        with pytest.raises(Unacceptable):
            do(add_a_room(), user=other)


@pytest.mark.django_db
def test_a_refusal_is_the_first_answer_too_and_takes_back_what_was_written() -> None:
    refusal = Refused("kit-out", "Jo has it.", holder={"name": "Jo"})

    def perform() -> None:
        a_room()
        raise refusal

    first = do(perform, instance="/here/")
    again = do(lambda: pytest.fail("done again"))
    assert first[:2] == (409, document(refusal, "/here/"))
    assert again.status == 409 and again.body.items() >= first.body.items()
    assert not Room.objects.exists()


class Status(Problem):
    def __init__(self, status: Any) -> None:
        super().__init__("some", "Some problem.")
        self.status = status


@pytest.mark.django_db
@pytest.mark.parametrize("status", [400, 401, 403, 404, 412, 413, 429, 500, 503])
def test_an_answer_that_may_change_with_time_is_not_kept(status: int) -> None:
    with pytest.raises(Status):
        do(lambda: (_ for _ in ()).throw(Status(status)))
    assert not KeptAnswer.objects.exists()
    assert do(add_a_room()).status == 201


@pytest.mark.django_db
@pytest.mark.parametrize(
    "error", [IntegrityError("some"), ZeroDivisionError(), NotAllowed("a", "b")]
)
def test_what_breaks_leaves_nothing_behind(
    error: IntegrityError | ZeroDivisionError | NotAllowed,
) -> None:
    def perform() -> None:
        a_room()
        raise error

    with pytest.raises(type(error)):
        do(perform)
    assert not Room.objects.exists()
    assert not KeptAnswer.objects.exists()


@pytest.mark.django_db
def test_an_act_that_a_constraint_stops_looks_again_and_says_why() -> None:
    looks = []

    def perform() -> None:
        looks.append(1)
        if len(looks) == 2:
            raise Refused("name-taken", "Somebody was faster.")
        a_room("one")
        raise IntegrityError("as when somebody was faster")

    assert do(perform).body["code"] == "name-taken"
    assert not Room.objects.exists()


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_of_two_acts_that_wait_for_each_other_the_one_that_gives_way_is_done_anew(
    open_database: str,
) -> None:
    rooms = [a_room("one"), a_room("two")]
    both_hold_one = threading.Barrier(2)

    def act(index: Any) -> Any:
        tries = []

        def perform() -> tuple[int, dict[str, int]]:
            tries.append(1)
            first, then = rooms if index == 0 else reversed(rooms)
            Room.objects.filter(pk=first.pk).update(phone=Concat("phone", Value("1")))
            if len(tries) == 1:
                both_hold_one.wait(30)
            Room.objects.filter(pk=then.pk).update(phone=Concat("phone", Value("1")))
            return 201, {"tries": len(tries)}

        return do(perform, key=uuid.uuid4()).body["tries"]

    # Done anew, it may take its first row before the other has its second: then they wait again.
    tries = at_once(2, act)
    assert max(tries) > 1
    assert set(Room.objects.values_list("phone", flat=True)) == {"11"}


class GivesWay(Exception):
    sqlstate = "40P01"


@pytest.mark.django_db
@pytest.mark.parametrize("times", [1, 2, 3])
def test_an_act_that_gives_way_more_than_once_is_done_all_the_same(times: int) -> None:
    tries = []

    def perform() -> tuple[int, dict[str, int]]:
        tries.append(1)
        a_room(f"{len(tries)}")
        if len(tries) <= times:
            raise OperationalError("deadlock detected") from GivesWay()
        return 201, {"tries": len(tries)}

    assert do(perform).body == {"tries": times + 1}
    assert Room.objects.count() == 1


@pytest.mark.django_db
def test_an_act_that_gives_way_for_ever_is_given_up() -> None:
    def perform() -> None:
        raise OperationalError("deadlock detected") from GivesWay()

    with pytest.raises(OperationalError):
        do(perform)


@pytest.mark.django_db
def test_a_secret_is_in_the_first_answer_only() -> None:
    hide: dict[str, Any] = {"kept": lambda body: {**body, "secret": None}}
    assert do(lambda: (201, {"secret": "x"}), **hide).body == {"secret": "x"}
    assert do(lambda: (201, {"secret": "y"}), **hide).body == {"secret": None}


def test_of_many_at_once_one_does_it_and_the_rest_wait_or_get_its_answer(
    open_database: str,
) -> None:
    found = at_once(12, lambda index: do(add_a_room()))
    answers = [f for f in found if isinstance(f, Answer)]
    others = [f for f in found if not isinstance(f, Answer)]
    assert [a.first_at is not None for a in answers].count(False) == 1
    assert all(isinstance(o, Refused) and o.code == "in-flight" for o in others), others
    assert Room.objects.count() == KeptAnswer.objects.count() == 1


def test_while_it_is_being_done_the_same_act_is_told_to_wait(open_database: str) -> None:
    entered, leave = threading.Event(), threading.Event()

    def slow() -> tuple[int, dict[Any, Any]]:
        entered.set()
        assert leave.wait(30)
        return 200, {}

    def do_it_slowly() -> None:
        do(slow)
        connections.close_all()

    thread = threading.Thread(target=do_it_slowly)
    thread.start()
    assert entered.wait(30)
    with pytest.raises(Refused) as caught:
        do(add_a_room())
    leave.set()
    thread.join()
    assert (caught.value.code, caught.value.facts) == ("in-flight", {"retry_after": 2})
    assert do(add_a_room()).first_at is not None


def test_different_keys_do_not_hold_each_other_up_for_good(open_database: str) -> None:
    def until_done(n: int) -> Any:
        key = uuid.uuid4()
        for _ in range(4):  # whoever finds the database busy sends it again
            with suppress(OperationalError):
                return do(add_a_room(f"room-{n}"), key=key, request=n)
        return do(add_a_room(f"room-{n}"), key=key, request=n)

    found = at_once(12, until_done)
    assert [f.status for f in found] == [201] * 12
    assert Room.objects.count() == 12


CHILD = """
import os, sys, uuid, django
django.setup()
from gearroom.core.services.idempotency import once
from gearroom.core.models import Room
def perform():
    Room.objects.create(slug="from-child", name="From child")
    print("inside", flush=True)
    sys.stdin.readline()
    return 201, {"slug": "from-child"}
once(key=uuid.UUID(sys.argv[1]), user=None, request="one", perform=perform)
print("done", flush=True)
"""


def test_a_claim_and_its_writes_die_with_a_killed_process(
    open_database: str, tmp_path: Path
) -> None:
    """kill -9 in the middle of an act: resent, it is done once."""
    from django.conf import settings

    env = environment(settings.DATA_DIR, DATABASE_URL=open_database)
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(KEY)],
        env={**env, "DJANGO_SETTINGS_MODULE": "gearroom.settings"},
        cwd=PROJECT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert present(child.stdout).readline() == "inside\n"
    with pytest.raises(Refused, match="still being processed"):
        do(add_a_room())
    os.kill(child.pid, signal.SIGKILL)
    child.communicate()
    answer = until_not_in_flight(lambda: do(add_a_room("from-here")))
    assert (answer.status, answer.first_at is not None) == (201, False)
    assert [room.slug for room in Room.objects.all()] == ["from-here"]


def until_not_in_flight(call: Callable[[], Answer], tries: int = 2000) -> Answer:
    """PostgreSQL's server needs a moment to see that its client is gone."""
    for _ in range(tries):
        try:
            return call()
        except Refused as problem:
            assert problem.code == "in-flight"
    raise AssertionError("the claim outlived its process")


@pytest.mark.django_db
def test_a_claim_is_let_go_when_the_act_fails() -> None:
    for _ in range(2):
        with pytest.raises(ZeroDivisionError), locked_transaction(KEY):
            raise ZeroDivisionError
    with locked_transaction(KEY):
        pass


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_claim_is_not_taken_twice_by_one_process(db: None, engine: str) -> None:
    with locked_transaction(KEY), pytest.raises(KeyLocked), locked_transaction(KEY):
        pass
