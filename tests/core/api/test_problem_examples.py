"""The problems that the schema gives as examples are what is answered."""

import re
import sqlite3
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import OperationalError
from rest_framework import exceptions

from gearroom.core.acts import document
from gearroom.core.api.openapi.problem_examples import COMMON, examples
from gearroom.core.api.problems import as_problem
from gearroom.core.rules.roles import Role, Scope
from tests.core.api.made import Caller, a_room, somebody
from tests.present import present

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),  # of the schema
]
ROOM, CHANGE = "rooms/main-store/", {"phone": "01"}


def _twice(call: Caller) -> Any:
    key = str(uuid.uuid4())
    call.patch(ROOM, CHANGE, idempotency_key=key)
    return call.patch(ROOM, {"phone": "02"}, idempotency_key=key)


ASKED: dict[str, Callable[[Caller], Any]] = {
    "invalid-request": lambda call: call.patch(ROOM, {"phone": 1}),
    "malformed-body": lambda call: call.patch(ROOM, b"x"),
    "key-missing": lambda call: call.patch(ROOM, CHANGE, idempotency_key=None),
    "malformed-headers": lambda call: call.patch(ROOM, CHANGE, idempotency_key="1"),
    "not-signed-in": lambda call: call.get(ROOM, authorization=None),
    "token-refused": lambda call: call.get(ROOM, authorization="Bearer gr_x"),
    "scope-missing": lambda call: Caller(somebody("clerk"), [Scope.READ]).patch(ROOM, CHANGE),
    "role-missing": lambda call: Caller(somebody("guide", Role.GUIDE)).patch(ROOM, CHANGE),
    "not-found": lambda call: call.get("rooms/cave-hut/"),
    "changed-since": lambda call: call.patch(ROOM, CHANGE, if_match='"x"'),
    "length-required": lambda call: call.patch(ROOM, CHANGE, transfer_encoding="chunked"),
    "too-large": lambda call: call.patch(ROOM, b" " * (27 * 1024**2)),
    "unsupported-media-type": lambda call: call.patch(ROOM, CHANGE, content_type="text/plain"),
    "key-reused": _twice,
    "cannot-be-right": lambda call: call.get("rooms/?cursor=x"),
}
LOCKED = OperationalError("database is locked")
LOCKED.__cause__ = sqlite3.OperationalError("database is locked")
LOCKED.__cause__.sqlite_errorcode = sqlite3.SQLITE_BUSY
MADE: dict[str, Exception] = {
    "too-many-requests": exceptions.Throttled(42),
    "busy": LOCKED,
}
"""Those that take many requests, with what they are made of."""
ELSEWHERE = {"in-flight"}
"""Those that take two at once."""


def without_what_varies(document: dict[str, Any]) -> str:
    text = re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|[0-9a-f]{32}", "…", str(document))
    return re.sub(r"in \d+ seconds|'retry_after': \d+", "…", text)


def test_there_is_an_example_for_each_that_is_asked_for() -> None:
    assert {*ASKED, *MADE, *ELSEWHERE} == set(COMMON)


@pytest.mark.parametrize("code", ASKED)
def test_it_is_answered_as_in_the_example(call: Caller, code: str, engine: str) -> None:
    a_room()
    answer = ASKED[code](call).json()
    answer.pop("instance")
    assert without_what_varies(answer) == without_what_varies(examples()[code])


@pytest.mark.parametrize("code", MADE)
def test_it_is_made_as_in_the_example(code: str, engine: str) -> None:
    assert document(present(as_problem(MADE[code]))) == examples()[code]
