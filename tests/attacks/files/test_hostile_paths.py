"""Addresses, queries, cookies and headers that nobody sends by accident: refused as what they are,
never a fault of ours."""

import re
import uuid
from collections.abc import Iterator
from itertools import cycle
from typing import Any

import pytest
from django.conf import settings
from django.core.cache import cache
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from gearroom.core.models import User
from gearroom.core.rules.roles import Role
from tests.core.api.made import Caller, is_problem, somebody
from tests.engines import ENGINES
from tests.labels.scan import scanned

pytestmark = pytest.mark.django_db

NUMBER = "a number beyond 64 bits"
FIRST = {
    "NUL": "DAY%00-01",
    "over-long": "x" * 3000,
    NUMBER: "9" * 30,
}
LONG_FORM = {
    "NUL alone": "%00",
    "half a surrogate pair": "%ED%A0%80",
    "not UTF-8": "%FF%FE",
    "a negative number": "-1",
    "a newline": "DAY%0A01",
    "quotes": "%27%22%3B--",
    "a per cent": "%25",
    "a noncharacter": "%EF%BF%BF",
    "right to left": "%E2%80%AEDAY",
}
HOSTILE = FIRST | LONG_FORM
IN_TURN = "each address one of the first three"
# Of PostgreSQL, which refuses more of it than SQLite: SQLite has a limit for numbers alone.
RUNS = [
    ("postgresql", IN_TURN),
    ("sqlite", NUMBER),
    *(pytest.param("postgresql", k, marks=pytest.mark.long) for k in FIRST),
    *(pytest.param(e, k, marks=pytest.mark.long) for e in ENGINES for k in LONG_FORM),
]
kinds = pytest.mark.parametrize(("engine", "kind"), RUNS, indirect=["engine"])
# What stands in a cookie or a header is judged before any database is asked.
once = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
_NAMED = re.compile(r"<(?:(\w+):)?(\w+)>")
_GROUP = re.compile(r"\(\?P<\w+>[^)]*\)")


def _routes(patterns: Any, before: str = "") -> Any:
    for pattern in patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _routes(pattern.url_patterns, route)
        else:
            assert isinstance(pattern, URLPattern)
            yield route


def _texts(kind: str) -> Iterator[str]:
    """The hostile text for each address after the other."""
    return cycle(FIRST.values() if kind == IN_TURN else [HOSTILE[kind]])


def _paths(kind: str) -> list[str]:
    """Every address with a part that may be anything, with that part hostile; numbers stay ones
    where the part is a text, so that it reaches the view."""
    paths = []
    for route, hostile in zip(_routes(get_resolver().url_patterns), _texts(kind), strict=False):
        named = _NAMED.findall(route)
        wants = hostile if hostile.isdigit() else "1"
        path = re.sub(r"<int:\w+>", wants, route)
        path = _NAMED.sub(hostile, path)
        path = _GROUP.sub(hostile, path).replace("^[Ll]/", "L/").rstrip("$?")
        if named or "?P<" in route:
            paths.append("/" + path.replace("^", ""))
    return paths


@pytest.fixture
def signed_in() -> tuple[Client, Caller]:
    cache.clear()
    scanned.labelled()
    user = somebody("admin", Role.ADMINISTRATOR)
    client = Client(raise_request_exception=False)
    client.force_login(User.objects.get(pk=user.pk))
    caller = Caller(user, raise_request_exception=False)
    return client, caller


@kinds
def test_no_address_is_a_fault(signed_in: tuple[Client, Caller], engine: str, kind: str) -> None:
    client, caller = signed_in
    paths = _paths(kind)
    assert len(paths) > 100 and any(path.startswith("/api/v1/kits/") for path in paths)
    for path in paths:
        for method in ("GET", "POST"):
            cache.clear()
            if path.startswith("/api/"):
                answer = caller(method, path.removeprefix("/api/v1/"), {})
                if answer.status_code >= 400:
                    is_problem(answer, answer.status_code, answer.json()["code"])
            elif method in ("GET", "POST"):
                said = {"key": str(uuid.uuid4())} if method == "POST" else {}
                answer = client.generic(method, path, said and b"key=1")
            else:
                continue
            assert answer.status_code < 500, (method, path, answer.content[:300])
            if "%00" in path:
                assert answer.status_code in (400, 404, 405), (method, path, answer.status_code)


@kinds
def test_no_query_is_a_fault(signed_in: tuple[Client, Caller], engine: str, kind: str) -> None:
    client, caller = signed_in
    routes = [route for route in _routes(get_resolver().url_patterns) if "<" not in route]
    for route, value in zip(routes, _texts(kind), strict=False):
        cache.clear()
        path = "/" + route.replace("^", "").rstrip("$?")
        # Two at once; the room apart, since what is wrong with it can hide the other.
        for query in (f"{path}?text={value}&{value}={value}", f"{path}?room={value}"):
            if path.startswith("/api/"):
                answer = caller.get(query.removeprefix("/api/v1/"))
            else:
                answer = client.get(query)
            assert answer.status_code < 500, (query, answer.content[:300])
            if "%00" in query:
                assert answer.status_code in (400, 404, 405), query


@once
@pytest.mark.parametrize(
    "cookie",
    ['"\\000\\000\\000\\000\\000\\000\\000\\000\\000"', "x" * 3000, '"\\355\\240\\200"', "é"],
)
def test_no_cookie_is_a_fault(cookie: str) -> None:
    cache.clear()
    names = (settings.SESSION_COOKIE_NAME, settings.CSRF_COOKIE_NAME, settings.LANGUAGE_COOKIE_NAME)
    for name in (*names, "messages"):
        for path in ("/", "/kits/", "/sign-in/", "/api/v1/kits/", "/L/XXXX-XXXX/"):
            for send in (Client.get, Client.post):
                client = Client(raise_request_exception=False, enforce_csrf_checks=True)
                answer = send(client, path, headers={"cookie": f"{name}={cookie}"})
                assert answer.status_code < 500, (name, path, answer.content[:200])


@once
@pytest.mark.parametrize(
    "header",
    ["authorization", "if-match", "if-none-match", "accept-language", "idempotency-key",
     "user-agent", "hx-request", "hx-current-url", "content-type", "x-forwarded-for"],
)  # fmt: skip
def test_no_header_is_a_fault(signed_in: tuple[Client, Caller], header: str) -> None:
    client, caller = signed_in
    for text in ("\x00", "x" * 5000, "é\xff", '"' * 50, "Bearer \x00", ",,,;q=x"):
        for path in ("/help/", "/api/v1/rooms/main-store/"):
            cache.clear()
            for method in ("GET", "PATCH"):
                answer = client.generic(method, path, b"{}", headers={header: text})
                assert answer.status_code < 500, (method, path, text)
                answer = caller(method, path.removeprefix("/api/v1/"), {}, **{
                    "if_match": "*", header.replace("-", "_"): text
                })  # fmt: skip
                assert answer.status_code < 500, (method, path, text)
