"""What tests of the plumbing start from: rooms, people with roles, and callers of the API."""

import json
import threading
import uuid
from typing import Any

from django.db import connections
from django.test import Client

from gearroom.core.acts import Act, actor_of
from gearroom.core.models import Membership, Person, Room, User
from gearroom.core.problem_codes import KINDS
from gearroom.core.rules.roles import Role, Scope
from gearroom.core.services.accounts import tokens


def a_room(slug: str = "main-store") -> Room:
    """A gear room."""
    return Room.objects.create(slug=slug, name=slug.replace("-", " ").capitalize())


def somebody(username: str, role: Role | None = None, room: Room | None = None) -> User:
    """A user whose person has one role in a room (None: in every one)."""
    user: User = User.objects.create_user(username)
    if role is not None:
        Membership.objects.create(person=user.person, role=role.value, room=room)
        Person.objects.filter(pk=user.person.pk).update(home_room=room)
    return User.objects.get(pk=user.pk)


def act_of(user: User) -> Act:
    """An act of theirs."""
    return Act(actor=actor_of(user))


class Caller:
    """A program that calls the API as a user, with a token."""

    def __init__(self, user: User, scopes: Any = tuple(Scope), **client: Any) -> None:
        self.token, self.secret = tokens.make(user=user, name="test", scopes=scopes)
        self.client = Client(**client)

    def __call__(self, method: str, path: str, body: Any = None, **headers: Any) -> Any:
        """The answer; a write gets a new key unless `idempotency_key` gives one (None: none)."""
        headers.setdefault("authorization", f"Bearer {self.secret}")
        if method not in ("GET", "HEAD", "OPTIONS"):
            headers.setdefault("idempotency_key", str(uuid.uuid4()))
        return self.client.generic(
            method,
            f"/api/v1/{path}",
            data=body if isinstance(body, bytes) else b"" if body is None else json.dumps(body),
            content_type=headers.pop("content_type", "application/json"),
            headers={k.replace("_", "-"): v for k, v in headers.items() if v is not None},
        )

    def get(self, path: str, **headers: Any) -> Any:
        """GET."""
        return self("GET", path, **headers)

    def post(self, path: str, body: Any = None, **headers: Any) -> Any:
        """POST."""
        return self("POST", path, {} if body is None else body, **headers)

    def patch(self, path: str, body: Any, **headers: Any) -> Any:
        """PATCH."""
        return self("PATCH", path, body, **headers)


WRONG = {400: "invalid-request", 422: "cannot-be-right"}
"""The code of what is wrong by its form, and of what only its meaning makes wrong."""


def is_problem(answer: Any, status: Any, code: Any) -> Any:
    """The answer is this problem, in the form that RFC 9457 gives it, and says what to do."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    body = json.loads(answer.content)
    assert body["status"] == status
    assert body["code"] == code
    assert body["type"] == f"/problems/{code}/"
    assert body["title"] == KINDS[code].title
    assert KINDS[code].status == status
    assert body["detail"]
    return body


def at_once(number: int, call: Any) -> list[Any]:
    """What each of so many calls at once came to: its result or its exception."""
    start, found = threading.Barrier(number), []

    def run(index: int) -> None:
        start.wait()
        try:
            found.append(call(index))
        except Exception as error:
            found.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=[index]) for index in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found
