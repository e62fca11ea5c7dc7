"""What is kept of writes for ever: what was done and what was refused; never what was merely wrong,
asked, or in the way for a moment. Whoever sends nonsense leaves nothing behind."""

import json
import uuid
from datetime import datetime
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client

from gearroom.core.acts import Problem
from gearroom.core.models import KeptAnswer, Room, User
from gearroom.core.rules.roles import Role
from gearroom.core.services.idempotency import once
from tests.core.api.made import Caller, a_room, is_problem, somebody
from tests.kits import factories as make
from tests.labels.scan import scanned as at

pytestmark = pytest.mark.django_db

SQLITE = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
ROOM = {"name": "Cave hut", "slug": "cave-hut"}


@pytest.fixture
def call() -> Caller:
    cache.clear()
    return Caller(somebody("admin", Role.ADMINISTRATOR))


@pytest.fixture
def labels() -> at.Labelled:
    cache.clear()
    return at.labelled()


class Status(Problem):
    def __init__(self, status: Any) -> None:
        super().__init__("some", "Some problem.")
        self.status = status


# ------------------------------------------------------------------------------------ what is kept
@pytest.mark.parametrize(
    "status", [400, 401, 403, 404, 405, 410, 412, 413, 415, 428, 429, 500, 503]
)
def test_no_other_refusal_is_kept_than_409_and_422(status: int) -> None:
    key = uuid.uuid4()
    with pytest.raises(Status):
        once(key=key, user=None, request=1, perform=lambda: (_ for _ in ()).throw(Status(status)))
    shown = once(key=key, user=None, request=1, perform=lambda: (status, {"code": "some"}))
    assert (shown.status, shown.first_at is not None) == (status, False)
    assert not KeptAnswer.objects.exists()
    assert once(key=key, user=None, request=1, perform=lambda: (201, {})).status == 201


@pytest.mark.parametrize("status", [200, 201, 204, 409, 422])
def test_what_was_done_and_what_was_refused_is_kept(status: int) -> None:
    key = uuid.uuid4()
    first = once(key=key, user=None, request=1, perform=lambda: (status, {"code": "some"}))
    again = once(key=key, user=None, request=1, perform=lambda: pytest.fail("done again"))
    assert (first.status, first.first_at is not None) == (status, False)
    assert (again.status, again.first_at is not None) == (status, True)


def test_unknown_members_leave_nothing_and_get_a_short_answer(labels: at.Labelled) -> None:
    keeper = make.caller(labels.world.keeper)
    body = {"text": labels.kit.code, **{f"{n}-{'x' * 90}": 1 for n in range(8000)}}
    assert len(json.dumps(body)) > 800_000
    answer = keeper.post("scans/", body)
    problem = is_problem(answer, 400, "invalid-request")
    assert len(answer.content) < 8_000
    assert 0 < len(problem["errors"]) <= 20
    assert problem["errors_left_out"] == 8000 - len(problem["errors"])
    assert not KeptAnswer.objects.exists()


def test_one_long_name_or_message_is_cut(labels: at.Labelled) -> None:
    keeper = make.caller(labels.world.keeper)
    answer = keeper.post("scans/", {"text": labels.kit.code, "x" * 500_000: 1})
    is_problem(answer, 400, "invalid-request")
    assert len(answer.content) < 2_000


@pytest.mark.parametrize(
    ("method", "path", "body", "headers", "status"),
    [
        ("POST", "rooms/", {}, {}, 400),
        ("POST", "rooms/", {**ROOM, "colour": 1}, {}, 400),
        ("POST", "people/99999/left/", {}, {}, 404),
        ("PATCH", "rooms/main-store/", {"phone": "1"}, {"if_match": '"x"'}, 412),
    ],
)
def test_what_was_wrong_is_judged_anew_under_the_same_key(
    call: Caller,
    method: str,
    path: str,
    body: dict[Any, Any] | dict[str, object] | dict[str, str],
    headers: dict[Any, Any] | dict[str, str],
    status: int,
) -> None:
    a_room()
    key = str(uuid.uuid4())
    for _ in range(2):
        answer = call(method, path, body, idempotency_key=key, **headers)
        assert answer.status_code == status
        assert "Idempotency-Replayed" not in answer
    assert not KeptAnswer.objects.exists()


# ------------------------------------------------------------------------------ questions, on doors
@SQLITE
@pytest.mark.parametrize("intent", ["identify", "receive", "count"])
def test_a_scan_that_only_asks_is_not_kept(labels: at.Labelled, intent: str) -> None:
    keeper = make.caller(labels.world.keeper)
    for text in (labels.kit.code, "no such thing", labels.lot.code):
        key = str(uuid.uuid4())
        for _ in range(2):
            said = {"text": text, "intent": intent}
            answer = keeper.post("scans/", said, idempotency_key=key)
            assert "Idempotency-Replayed" not in answer
    assert not KeptAnswer.objects.exists()


@SQLITE
def test_a_scan_that_acts_is_kept_done_or_refused(labels: at.Labelled) -> None:
    keeper = make.caller(labels.world.keeper)
    said = {"text": labels.kit.code, "intent": "check-out", "holder": labels.tag.code}
    for status in (201, 409):
        key = str(uuid.uuid4())
        first = keeper.post("scans/", said, idempotency_key=key)
        again = keeper.post("scans/", said, idempotency_key=key)
        assert first.status_code == again.status_code == status
        assert again["Idempotency-Replayed"] == "true"
    assert KeptAnswer.objects.count() == 2


@SQLITE
def test_a_scan_of_what_is_not_there_says_all_of_it_and_is_not_kept(labels: at.Labelled) -> None:
    keeper = make.caller(labels.world.keeper)
    key = str(uuid.uuid4())
    for _ in range(2):
        said = {"text": "6R4B-5KJ8", "intent": "check-in"}
        answer = keeper.post("scans/", said, idempotency_key=key)
        assert answer.status_code == 404 and answer.json()["outcomes"]
        assert "Idempotency-Replayed" not in answer
    assert not KeptAnswer.objects.exists()


@SQLITE
def test_a_proposal_is_not_kept(labels: at.Labelled) -> None:
    world = labels.world
    keeper = make.caller(world.keeper)
    trip = make.trip("Hill day", world.store)
    path = f"trips/{trip.source}/{trip.reference}/proposal/"
    key = str(uuid.uuid4())
    for _ in range(2):
        answer = keeper.post(path, idempotency_key=key)
        assert answer.status_code == 200 and "Idempotency-Replayed" not in answer
    assert not KeptAnswer.objects.exists()


@SQLITE
def test_pages_keep_no_scan_that_only_asks(labels: at.Labelled, client: Client) -> None:
    client.force_login(User.objects.get(person=labels.world.keeper))
    for mode in ("look", "next"):
        said = {"text": labels.kit.code, "mode": mode, "key": str(uuid.uuid4())}
        assert client.post("/scan/", said).status_code == 200
    assert not KeptAnswer.objects.exists()


# ----------------------------------------------------------------------------------------- replays
def test_a_replay_says_that_it_is_one_when_it_was_answered_and_what_asks_anew(call: Caller) -> None:
    key = str(uuid.uuid4())
    for body in (ROOM, ROOM):
        first = call.post("rooms/", body, idempotency_key=key)
        again = call.post("rooms/", body, idempotency_key=key)
        kept = KeptAnswer.objects.get(key=key).created_at
        assert again["Idempotency-Replayed"] == "true"
        assert datetime.fromisoformat(again["Idempotency-First-Answered"]) == kept
        if first.status_code == 201 and "Idempotency-Replayed" not in first:
            assert again.content == first.content
        key = str(uuid.uuid4())  # and once more, refused: the name is taken now
    said, said_again = first.json(), again.json()
    assert first.status_code == again.status_code == 409
    assert "Idempotency-Key" in said_again.pop("to_ask_anew")
    assert datetime.fromisoformat(said_again.pop("first_answered_at")) == kept
    assert said_again == said
    assert Room.objects.count() == 1


@SQLITE
def test_a_page_says_so_too(labels: at.Labelled, client: Client) -> None:
    client.force_login(User.objects.get(person=labels.world.keeper))
    said = {"key": str(uuid.uuid4()), "name": labels.world.store.name}
    path = "/rooms/"
    User.objects.get(person=labels.world.keeper).person.memberships.create(role="administrator")
    first = client.post(path, {**said, "slug": "cave-hut"})
    again = client.post(path, {**said, "slug": "cave-hut"})
    assert first.status_code == again.status_code == 409
    assert "already submitted" not in first.content.decode()
    assert "already submitted" in again.content.decode()
    assert "reload the page" in again.content.decode()
