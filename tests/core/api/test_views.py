"""What every door of the API does alike, tried on real ones."""

import html
import io
import json
import uuid
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client, RequestFactory, override_settings
from django.urls import get_resolver

from gearroom.core import clock
from gearroom.core.api.views import ReadView
from gearroom.core.models import KeptAnswer, Person, Room, Token, User
from gearroom.core.problem_codes import KINDS
from gearroom.core.rules.roles import Role, Scope
from tests.core.api.made import Caller, a_room, is_problem, somebody
from tests.present import present

pytestmark = pytest.mark.django_db
ROOM = {"name": "Cave hut", "slug": "cave-hut"}


# ------------------------------------------------------------------------------------ who asks
def test_nobody_is_told_how_to_sign_in() -> None:
    answer = Client().get("/api/v1/rooms/")
    is_problem(answer, 401, "not-signed-in")
    assert answer["WWW-Authenticate"] == 'Bearer realm="gearroom"'


@pytest.mark.parametrize(("use_case", "status"), [("identify", 200), ("receive", 401)])
def test_a_public_door_lets_nobody_do_what_needs_a_role(use_case: str, status: int) -> None:
    class Public(ReadView):
        public = True
        reads_as = use_case

        def read(self, query: Any) -> dict[Any, Any]:
            return {}

    answer = Public.as_view()(RequestFactory().get("/api/v1/public/"))
    assert answer.status_code == status


@pytest.mark.parametrize("header", ["Bearer", "Bearer x", "bearer gr_é", "Bearer " + "x" * 5000])
def test_a_token_that_is_none_is_refused(call: Caller, header: str) -> None:
    answer = call.get("rooms/", authorization=header)
    is_problem(answer, 401, "token-refused")
    assert 'error="invalid_token"' in answer["WWW-Authenticate"]


@pytest.mark.parametrize("header", ["Basic YTpi", "Token x", "", "gr_x"])
def test_any_other_authorization_is_nobody(call: Caller, header: str) -> None:
    is_problem(call.get("rooms/", authorization=header), 401, "not-signed-in")


def test_a_token_is_kept_as_its_hash_only(call: Caller) -> None:
    row = Token.objects.get()
    assert call.secret not in json.dumps(
        [str(getattr(row, field.attname)) for field in Token._meta.fields]
    )
    assert len(row.sha256) == 64 and call.secret.startswith(row.prefix)


@pytest.mark.parametrize("ended", [{"revoked_at": 0}, {"expires_at": 0}, {"expires_at": -1}])
def test_an_ended_token_is_refused(call: Caller, ended: dict[str, int]) -> None:
    assert call.get("rooms/").status_code == 200
    ((field, seconds),) = ended.items()
    Token.objects.update(**{field: clock.now() + timedelta(seconds=seconds)})
    is_problem(call.get("rooms/"), 401, "token-refused")


def test_the_use_of_a_token_is_noted_at_most_once_a_minute(call: Caller) -> None:
    call.get("rooms/")
    first = present(Token.objects.get().last_used_at)
    call.get("rooms/")
    assert Token.objects.get().last_used_at == first
    Token.objects.update(last_used_at=first - timedelta(seconds=61))
    call.get("rooms/")
    assert present(Token.objects.get().last_used_at) >= first


def test_a_token_does_only_what_its_scopes_say(admin: User) -> None:
    call = Caller(admin, scopes=[Scope.READ])
    assert call.get("rooms/").status_code == 200
    body = is_problem(call.post("rooms/", ROOM), 403, "scope-missing")
    assert body["scope"] == "admin"


def test_a_role_held_nowhere_is_refused_at_the_door(admin: User) -> None:
    call = Caller(somebody("guide", Role.GUIDE, a_room()))
    body = is_problem(call.post("rooms/", ROOM), 403, "role-missing")
    assert body["roles"] == ["administrator"]


def test_the_pages_session_works_and_its_writes_need_the_csrf_token(admin: User) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(admin)
    assert client.get("/api/v1/rooms/").status_code == 200
    send: dict[str, Any] = {
        "content_type": "application/json",
        "headers": {"idempotency-key": str(uuid.uuid4())},
    }
    is_problem(client.post("/api/v1/rooms/", ROOM, **send), 403, "not-allowed")
    client.cookies["csrftoken"] = token = "a" * 32
    send["headers"]["x-csrftoken"] = token
    assert client.post("/api/v1/rooms/", ROOM, **send).status_code == 201


def test_answers_are_nobody_elses(call: Caller) -> None:
    answer = call.get("rooms/")
    assert answer["Cache-Control"] == "private, no-cache"
    assert {"Authorization", "Cookie"} <= set(answer["Vary"].split(", "))


# --------------------------------------------------------------------------------- bodies, queries
@pytest.mark.parametrize(
    "raw", [b"", b"{", b"[]", b"\xff", b'{"name": NaN}', b'{"a":1,"a":2}', b"{" * 50_000]
)
def test_a_malformed_body_is_a_problem(call: Caller, raw: bytes) -> None:
    answer = call.post("rooms/", raw)
    is_problem(answer, 400, "malformed-body" if raw else "invalid-request")
    assert not Room.objects.exists()


@pytest.mark.parametrize(
    ("kind", "status"),
    [
        ("application/json", 201),
        ("application/json; charset=utf-8", 201),
        ('application/json; charset="UTF-8"', 201),
        ("application/json; charset=utf-16", 415),
        ("application/json; charset=nonsense", 415),
        ("APPLICATION/JSON", 201),
        ("text/plain", 415),
        ("application/x-www-form-urlencoded", 415),
        ("multipart/form-data; boundary=x", 415),
        ("application/merge-patch+json", 415),
        ("application/xml", 415),
        ("", 415),
        ("nonsense", 415),
        (";;;=", 415),
    ],
)
def test_only_json_is_taken(call: Caller, kind: str, status: int) -> None:
    answer = call.post("rooms/", ROOM, content_type=kind)
    assert answer.status_code == status
    if status != 201:
        is_problem(answer, 415, "unsupported-media-type")


def test_a_body_beyond_the_limit_is_refused_unread(call: Caller) -> None:
    body = is_problem(call.post("rooms/", b" " * (1024 * 1024 + 1)), 413, "too-large")
    assert body["limit_bytes"] == 1024 * 1024
    assert not KeptAnswer.objects.exists()


def test_a_length_that_is_a_lie_does_not_hurt(call: Caller) -> None:
    for length in ("9" * 30, "2147483648"):
        answer = call.client.generic(
            "POST",
            "/api/v1/rooms/",
            b"{}",
            content_type="application/json",
            CONTENT_LENGTH=length,
            headers={
                "authorization": f"Bearer {call.secret}",
                "idempotency-key": str(uuid.uuid4()),
            },
        )
        is_problem(answer, 413, "too-large")


def test_a_compressed_body_is_not_taken(call: Caller) -> None:
    answer = call.post("rooms/", ROOM, content_encoding="gzip")
    is_problem(answer, 415, "unsupported-media-type")


def test_a_body_that_broke_off_is_not_taken_for_a_whole_one(call: Caller) -> None:
    broken_off: dict[str, Any] = {"wsgi.input": io.BytesIO(json.dumps(ROOM).encode())}
    answer = call.client.generic(
        "POST",
        "/api/v1/rooms/",
        CONTENT_TYPE="application/json",
        CONTENT_LENGTH="500",
        headers={"authorization": f"Bearer {call.secret}", "idempotency-key": str(uuid.uuid4())},
        **broken_off,
    )
    assert "broke off after" in is_problem(answer, 400, "malformed-body")["detail"]
    assert not Room.objects.exists()


def test_a_body_in_chunks_is_told_to_give_its_length(call: Caller) -> None:
    answer = call.client.generic(
        "POST",
        "/api/v1/rooms/",
        headers={"authorization": f"Bearer {call.secret}", "transfer-encoding": "chunked"},
    )
    is_problem(answer, 411, "length-required")


def test_wrong_fields_are_each_named_and_the_answer_says_where(call: Caller) -> None:
    body = is_problem(call.post("rooms/", {"name": 3, "colour": 1}), 400, "invalid-request")
    assert set(body["errors"]) == {"name", "colour"}
    assert body["instance"] == "/api/v1/rooms/"


@pytest.mark.parametrize("query", ["x=1", "page_size=0", "page_size=201", "page_size=a", "cursor=",
                                   "cursor=abc", "page_size=1&page_size=2", "format=json", "=",
                                   "search=%00", "search=a%0Ab", "search=%FF%FE"])  # fmt: skip
def test_a_query_that_is_not_understood_is_refused(call: Caller, query: str) -> None:
    answer = call.get(f"people/?{query}")
    if query == "search=%FF%FE":  # undecodable bytes become U+FFFD, which nobody's name has
        assert answer.status_code == 200 and json.loads(answer.content)["results"] == []
    elif query == "cursor=abc":  # a text like any cursor, and none of ours
        is_problem(answer, 422, "cannot-be-right")
    else:
        is_problem(answer, 400, "invalid-request")


def test_a_write_takes_no_query(call: Caller) -> None:
    is_problem(call.post("rooms/?dry_run=true", ROOM), 400, "invalid-request")
    assert not Room.objects.exists()


# ---------------------------------------------------------------------------------------- methods
@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "MERGE", "FOO"])
def test_a_method_that_is_not_there_is_refused_with_those_that_are(
    call: Caller, method: str
) -> None:
    answer = call(method, "rooms/")
    is_problem(answer, 405, "method-not-allowed")
    assert set(answer["Allow"].split(", ")) == {"GET", "POST", "HEAD", "OPTIONS"}


def test_options_says_which_methods_there_are(call: Caller) -> None:
    answer = call("OPTIONS", "rooms/")
    assert (answer.status_code, answer.content) == (204, b"")
    assert "POST" in answer["Allow"]


def test_head_is_get_without_its_body(call: Caller) -> None:
    a_room()
    get, head = call.get("rooms/main-store/"), call("HEAD", "rooms/main-store/")
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", get["ETag"])


@pytest.mark.parametrize(
    "accept", ["text/html", "application/xml", "nonsense", "*/*", "image/*;q=0"]
)
def test_the_form_is_json_whatever_is_asked(call: Caller, accept: str) -> None:
    answer = call.get("rooms/", accept=accept)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/json")


@pytest.mark.parametrize(
    "path",
    ["nothing/", "rooms", "rooms/x/y/", "people/9999999999999999999999/", "people/-1/", "people/x/",
     "rooms/%00/", "rooms/%C3%A9/", "%FF/"],
)  # fmt: skip
def test_no_such_address_is_a_problem_too(call: Caller, path: str) -> None:
    is_problem(call.get(path), 404, "not-found")


def test_a_host_that_is_not_ours_is_refused(call: Caller) -> None:
    answer = call.client.get("/api/v1/rooms/", headers={"host": "evil.example"})
    is_problem(answer, 400, "unknown-host")


# --------------------------------------------------------------------------------- our own faults
def test_a_fault_of_ours_is_a_problem_that_says_nothing_was_changed(
    call: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    from gearroom.core.services.people import rooms

    monkeypatch.setattr(rooms, "visible_to", lambda actor: 1 / 0)
    call.client.raise_request_exception = False
    is_problem(call.get("rooms/"), 500, "internal-error")
    is_problem(call.patch("rooms/x/", {}), 500, "internal-error")
    assert not KeptAnswer.objects.exists()


def test_pages_beside_the_api_keep_their_own_errors() -> None:
    assert Client().get("/nothing-here/")["Content-Type"].startswith("text/html")


# ------------------------------------------------------------------------------ problems explained
def test_every_kind_of_problem_has_its_page() -> None:
    for code, kind in KINDS.items():
        page = Client().get(f"/problems/{code}/")
        assert page.status_code == 200
        assert kind.what_to_do.partition("“")[0].split(":")[0] in html.unescape(
            page.content.decode()
        )
    assert Client().get("/problems/no-such/").status_code == 404
    assert Client().get("/problems/").content.decode().count("<section") == len(KINDS)


def test_a_kind_of_problem_is_explained_in_the_language_of_whoever_reads() -> None:
    reader = Client(HTTP_ACCEPT_LANGUAGE="de")
    page = reader.get("/problems/busy/").content.decode()
    assert '<html lang="de">' in page and "Die Datenbank ist beschäftigt" in page
    assert "Alle Probleme" in page
    user = User.objects.create_user("robin")
    Person.objects.filter(user=user).update(language="en-gb")
    reader.force_login(user)
    assert "The database is busy" in reader.get("/problems/busy/").content.decode()


@override_settings(ALLOWED_HOSTS=["*"])
def test_the_schema_and_its_pages_come_from_here() -> None:
    schema = Client().get("/api/v1/schema/")
    assert json.loads(schema.content)["openapi"] == "3.1.0"
    page = Client().get("/api/v1/docs/").content.decode()
    assert "<style" not in page and "<script>" not in page, "a strict policy would refuse it"
    assert "//" not in page.replace("<!--", "").partition("<body")[2].replace(
        "http://testserver", ""
    )


def test_every_door_below_the_api_is_one_of_these() -> None:
    from gearroom.core.api.any_view import View

    def views(patterns: Any) -> Iterator[Any]:
        for pattern in patterns:
            inner = getattr(pattern, "url_patterns", None)
            yield from [pattern] if inner is None else views(inner)

    api = [p for p in get_resolver().url_patterns if str(p.pattern) == "api/v1/"]
    for pattern in views(api):
        cls = pattern.callback.cls
        assert issubclass(cls, View) or cls.__module__.startswith("drf_spectacular"), pattern
