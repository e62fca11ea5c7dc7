"""Keys, entity tags, pages and rate limits: what every door answers alike, tried on real ones."""

import itertools
import json
import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from pytest_django import DjangoAssertNumQueries
from rest_framework.settings import api_settings

from gearroom.core import clock
from gearroom.core.models import KeptAnswer, Person, Room, Token, User
from gearroom.core.rules.roles import Role
from tests.core.api.made import Caller, a_room, at_once, is_problem, somebody
from tests.present import present

ROOM = {"name": "Cave hut", "slug": "cave-hut"}


# ------------------------------------------------------------------------------------------- keys
@pytest.mark.django_db
@pytest.mark.parametrize(
    ("key", "code"),
    [
        (None, "key-missing"),
        ("", "key-missing"),
        ('""', "key-missing"),
        ("1", "malformed-headers"),
        ("123e4567e89b42d3a456426614174000", "malformed-headers"),
        ("{123e4567-e89b-42d3-a456-426614174000}", "malformed-headers"),
        ("123e4567-e89b-42d3-a456-426614174000, 1", "malformed-headers"),
        ("é" * 36, "malformed-headers"),
    ],
)
def test_a_write_needs_a_key(call: Caller, key: str | None, code: str) -> None:
    is_problem(call.post("rooms/", ROOM, idempotency_key=key), 400, code)
    assert not Room.objects.exists()


@pytest.mark.django_db
def test_a_key_may_be_in_quotes_as_structured_headers_have_it(call: Caller) -> None:
    key = str(uuid.uuid4())
    assert call.post("rooms/", ROOM, idempotency_key=f'"{key}"').status_code == 201
    again = call.post("rooms/", ROOM, idempotency_key=key.upper())
    assert again["Idempotency-Replayed"] == "true"


@pytest.mark.django_db
def test_the_first_answer_is_given_again_byte_for_byte(call: Caller) -> None:
    key = str(uuid.uuid4())
    first = call.post("rooms/", ROOM, idempotency_key=key)
    again = call.post("rooms/", b' {"slug":"cave-hut", "name":\n"Cave hut"}', idempotency_key=key)
    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    assert "Idempotency-Replayed" not in first and again["Idempotency-Replayed"] == "true"
    assert Room.objects.count() == 1


@pytest.mark.django_db
def test_a_refusal_is_given_again(call: Caller) -> None:
    a_room("cave-hut")
    key = str(uuid.uuid4())
    first, again = (call.post("rooms/", ROOM, idempotency_key=key) for _ in range(2))
    assert first.status_code == again.status_code == 409
    assert again.content.startswith(first.content.removesuffix(b"}"))
    assert first["Content-Type"] == again["Content-Type"] == "application/problem+json"
    assert again["Idempotency-Replayed"] == "true"


@pytest.mark.django_db
@pytest.mark.parametrize("body", [{}, {**ROOM, "colour": 1}])
def test_what_was_wrong_is_no_answer_to_an_act(
    call: Caller, body: dict[Any, Any] | dict[str, object]
) -> None:
    key = str(uuid.uuid4())
    first, again = (call.post("rooms/", body, idempotency_key=key) for _ in range(2))
    assert first.status_code == again.status_code == 400
    assert "Idempotency-Replayed" not in again
    assert call.post("rooms/", ROOM, idempotency_key=key).status_code == 201


@pytest.mark.django_db
def test_a_key_is_not_for_another_content_address_or_user(call: Caller) -> None:
    key = str(uuid.uuid4())
    other = Caller(somebody("other", Role.ADMINISTRATOR))
    assert call.post("rooms/", ROOM, idempotency_key=key).status_code == 201
    for answer in (
        call.post("rooms/", {**ROOM, "phone": "1"}, idempotency_key=key),
        call.post("people/", ROOM, idempotency_key=key),
        call.patch("rooms/cave-hut/", ROOM, idempotency_key=key),
        other.post("rooms/", ROOM, idempotency_key=key),
    ):
        is_problem(answer, 422, "key-reused")


@pytest.mark.django_db
def test_a_refusal_for_want_of_a_right_is_not_kept(admin: User) -> None:
    call = Caller(user := somebody("new"))
    key = str(uuid.uuid4())
    assert call.post("rooms/", ROOM, idempotency_key=key).status_code == 403
    user.person.memberships.create(role=Role.ADMINISTRATOR.value)
    assert call.post("rooms/", ROOM, idempotency_key=key).status_code == 201


# ------------------------------------------------------------------------------------ entity tags
@pytest.mark.django_db
def test_what_is_had_already_is_not_sent_again(call: Caller) -> None:
    a_room()
    tag = call.get("rooms/main-store/")["ETag"]
    for header in (tag, f"W/{tag}", f'"x", {tag}', "*"):
        answer = call.get("rooms/main-store/", if_none_match=header)
        assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", tag)
    assert call.get("rooms/main-store/", if_none_match='"x"').status_code == 200


@pytest.mark.django_db
def test_a_change_made_on_an_old_reading_is_refused(call: Caller) -> None:
    a_room()
    tag = call.get("rooms/main-store/")["ETag"]
    changed = call.patch("rooms/main-store/", {"phone": "01"}, if_match=tag)
    assert changed.status_code == 200 and changed["ETag"] != tag
    assert changed["ETag"] == call.get("rooms/main-store/")["ETag"]
    for old in (tag, '"x"', "x", f"W/{changed['ETag']}"):
        is_problem(
            call.patch("rooms/main-store/", {"phone": "02"}, if_match=old), 412, "changed-since"
        )
    assert Room.objects.get().phone == "01"
    assert call.patch("rooms/main-store/", {"phone": "03"}, if_match="*").status_code == 200
    assert call.patch("rooms/main-store/", {"phone": "04"}).status_code == 200


@pytest.mark.django_db
def test_a_page_that_the_asker_has_is_not_sent_again_until_it_shows_something_else(
    call: Caller,
) -> None:
    rooms = [a_room(f"room-{number}") for number in range(3)]
    first = call.get("rooms/?page_size=2")
    with time_machine.travel(clock.now() + timedelta(hours=1)):
        again = call.get("rooms/?page_size=2", if_none_match=first["ETag"])
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    assert call.get("rooms/?page_size=3", if_none_match=first["ETag"]).status_code == 200
    Room.objects.filter(pk=rooms[0].pk).update(phone="01")  # whoever changes it, and however
    changed = call.get("rooms/?page_size=2", if_none_match=first["ETag"])
    assert changed.status_code == 200 and changed["ETag"] != first["ETag"]
    rooms[2].delete()  # what is not on the page, but says whether there is a next one
    assert call.get("rooms/?page_size=2", if_none_match=changed["ETag"]).status_code == 200


# ------------------------------------------------------------------------------------------ pages
@pytest.mark.django_db
def test_pages_reach_every_row_once_while_rows_are_added(call: Caller) -> None:
    for number in range(7):
        Person.objects.create(name=f"Same {number // 3}")
    path, seen = "people/?page_size=2", []
    while path:
        page = json.loads(call.get(path).content)
        seen += [row["id"] for row in page["results"]]
        Person.objects.create(name="Aaron")
        path = page["next"] and page["next"].partition("/api/v1/")[2]
    expected = Person.objects.exclude(name="Aaron").order_by("name", "id")
    assert seen == [person.pk for person in expected]


@pytest.mark.django_db
def test_pages_lead_back_the_way_they_came(call: Caller) -> None:
    for number in range(5):
        Person.objects.create(name=f"Same {number // 3}")
    pages, path = [], "people/?page_size=2"
    while path:
        page = json.loads(call.get(path).content)
        pages.append(page)
        path = page["next"] and page["next"].partition("/api/v1/")[2]
    assert len(pages) == 3 and pages[0]["previous"] is None
    for before, after in itertools.pairwise(pages):
        back = json.loads(call.get(after["previous"].partition("/api/v1/")[2]).content)
        assert back["results"] == before["results"]
        forth = json.loads(call.get(back["next"].partition("/api/v1/")[2]).content)
        assert forth["results"] == after["results"]
    assert back["previous"] is not None or back["results"] == pages[0]["results"]


@pytest.mark.django_db
def test_a_cursor_made_up_or_of_another_list_is_refused(call: Caller) -> None:
    a_room("a"), a_room("b")
    cursor = json.loads(call.get("rooms/?page_size=1").content)["next"].partition("cursor=")[2]
    assert call.get(f"rooms/?cursor={cursor.partition('&')[0]}").status_code == 200
    for text in (cursor.partition("&")[0], "cD0x", "bz0xJnA9YWJj", "x" * 400):
        body = is_problem(call.get(f"people/?cursor={text}"), 422, "cannot-be-right")
        assert "cursor" in body["errors"]


@pytest.mark.django_db
@pytest.mark.parametrize(("path", "queries"), [("people/", 4), ("rooms/", 3), ("tokens/", 3)])
def test_a_list_takes_the_same_few_queries_however_long(
    call: Caller, path: str, queries: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    room = a_room()
    call.get(path)
    for number in range(9):
        somebody(f"guide-{number}", Role.GUIDE, room)
        Caller(present(Token.objects.first()).user)
        a_room(f"room-{number}")
    with django_assert_num_queries(queries):
        assert call.get(path).status_code == 200


# ------------------------------------------------------------------------------------ rate limits
@pytest.mark.django_db
def test_a_runaway_program_is_told_to_wait_and_others_are_not(
    call: Caller, admin: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(api_settings.DEFAULT_THROTTLE_RATES, "actor", "3/h")
    answers = [call.get("rooms/") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert {answer["RateLimit-Policy"] for answer in answers} == {'"actor";q=3;w=3600'}
    left = [re.fullmatch(r'"actor";r=(\d);t=(\d+)', answer["RateLimit"]) for answer in answers]
    assert [present(each)[1] for each in left] == ["2", "1", "0", "0"]
    assert all(1 <= int(present(each)[2]) <= 3600 for each in left)
    answer = call.post("rooms/", ROOM)
    body = is_problem(answer, 429, "too-many-requests")
    assert 1 <= int(answer["Retry-After"]) == body["retry_after"] <= 3600
    assert Caller(admin).get("rooms/").status_code == 200
    assert not KeptAnswer.objects.exists()


# ------------------------------------------------------------------------------- many at once
def test_one_act_sent_many_times_at_once_is_done_once(open_database: str) -> None:
    cache.clear()
    caller = Caller(somebody("admin", Role.ADMINISTRATOR))
    key = str(uuid.uuid4())
    answers = at_once(10, lambda _: caller.post("rooms/", ROOM, idempotency_key=key))
    done = [a for a in answers if a.status_code == 201]
    assert len({a.content for a in done}) == 1
    assert [("Idempotency-Replayed" in a) for a in done].count(False) == 1
    for answer in answers:
        if answer.status_code != 201:
            is_problem(answer, 409, "in-flight")
            assert answer["Retry-After"] == "2"
    assert Room.objects.count() == 1


def test_many_acts_for_one_thing_at_once_end_in_answers_and_no_fault(open_database: str) -> None:
    cache.clear()
    caller = Caller(somebody("admin", Role.ADMINISTRATOR))
    answers = at_once(10, lambda _: caller.post("rooms/", ROOM))
    statuses = sorted(a.status_code for a in answers)
    assert statuses == [201] + [409] * 9, [a.content for a in answers]
