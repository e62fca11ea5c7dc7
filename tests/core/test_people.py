"""People are seen by who shares a room with them, and looked after as the table of roles says."""

import json
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.test import Client

from gearroom.core import clock
from gearroom.core.models import KeptAnswer, Membership, Person, Room, Token, User
from gearroom.core.rules.roles import Role
from tests.core.api.made import Caller, a_room, is_problem, somebody
from tests.present import present

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def store() -> Room:
    return a_room("main-store")


@pytest.fixture
def hut() -> Room:
    return a_room("cave-hut")


@pytest.fixture
def keeper(store: Room) -> Caller:
    return Caller(somebody("keeper", Role.KEEPER, store))


@pytest.fixture
def guide(store: Room) -> Caller:
    return Caller(somebody("guide", Role.GUIDE, store))


def names(answer: Any) -> list[Any]:
    assert answer.status_code == 200, answer.content
    return [row["name"] for row in json.loads(answer.content)["results"]]


def shown(answer: Any, status: int = 200) -> Any:
    assert answer.status_code == status, answer.content
    return json.loads(answer.content)


def someone(name: str = "Sam Weir", **fields: Room | str) -> Person:
    return Person.objects.create(name=name, **fields)


# ------------------------------------------------------------------------------- who has a person
def test_every_user_has_a_person_however_made() -> None:
    User.objects.create_user("one", email="one@example.org")
    User.objects.create_superuser("two")
    User(username="three").save()
    assert [(p.name, present(p.user).username) for p in Person.objects.order_by("id")] == [
        (n, n) for n in ("one", "two", "three")
    ]
    assert Person.objects.get(name="one").email == "one@example.org"


def test_a_superuser_administers_every_room_from_the_start() -> None:
    caller = Caller(User.objects.create_superuser("first"))
    assert caller.post("rooms/", {"name": "Store", "slug": "store"}).status_code == 201


def test_saving_a_user_again_makes_nobody_new() -> None:
    user = User.objects.create_user("one")
    user.email = "x@example.org"
    user.save()
    assert Person.objects.count() == 1


# --------------------------------------------------------------------------------------- who sees
def test_people_of_other_rooms_are_not_there(guide: Caller, keeper: Caller, hut: Room) -> None:
    far = somebody("far", Role.KEEPER, hut).person
    at_home_there = someone("Far too", home_room=hut)
    for caller in (guide, keeper):
        assert names(caller.get("people/")) == ["guide", "keeper"]
        for person in (far, at_home_there):
            is_problem(caller.get(f"people/{person.pk}/"), 404, "not-found")
            is_problem(caller.patch(f"people/{person.pk}/", {"name": "X"}), 404, "not-found")


def test_who_is_at_home_in_a_room_needs_no_role_to_be_seen_there(
    guide: Caller, store: Room
) -> None:
    someone("Sam Weir", home_room=store, phone="01632 960001")
    row = shown(guide.get("people/?search=wei"))["results"][0]
    assert (row["name"], row["phone"], row["home_room"]) == (
        "Sam Weir",
        "01632 960001",
        "main-store",
    )


def test_who_belongs_nowhere_yet_is_seen_by_keepers_only(guide: Caller, keeper: Caller) -> None:
    someone("New")
    assert "New" in names(keeper.get("people/"))
    assert "New" not in names(guide.get("people/"))


def test_who_has_a_role_everywhere_is_seen_everywhere(guide: Caller, call: Caller) -> None:
    assert "admin" in names(guide.get("people/"))


def test_who_has_a_role_everywhere_sees_everybody(call: Caller, store: Room, hut: Room) -> None:
    someone("A", home_room=store), someone("B", home_room=hut), someone("C")
    assert names(call.get("people/")) == ["A", "B", "C", "admin"]


def test_roles_in_rooms_that_are_not_ones_own_are_not_shown(
    guide: Caller, store: Room, hut: Room
) -> None:
    both = somebody("both", Role.GUIDE, store).person
    both.memberships.create(room=hut, role=Role.KEEPER.value)
    row = shown(guide.get(f"people/{both.pk}/"))
    assert row["roles"] == [{"room": "main-store", "role": "guide"}]


def test_an_address_is_shown_to_keepers_and_to_oneself(
    guide: Caller, keeper: Caller, store: Room
) -> None:
    sam = someone(email="sam@example.org", home_room=store)
    assert shown(guide.get(f"people/{sam.pk}/"))["email"] is None
    assert shown(keeper.get(f"people/{sam.pk}/"))["email"] == "sam@example.org"
    mine = guide.token.user.person
    assert shown(guide.get(f"people/{mine.pk}/"))["email"] == ""


def test_without_a_role_nobody_else_is_seen(store: Room) -> None:
    caller = Caller(somebody("nobody"))
    is_problem(caller.get("people/"), 403, "role-missing")


def test_a_list_can_be_narrowed(keeper: Caller, store: Room) -> None:
    someone("Sam Weir", home_room=store), someone("Ada", home_room=store)
    someone("Gone", home_room=store, left_on="2026-01-01")
    assert names(keeper.get("people/?search=SAM")) == ["Sam Weir"]
    assert names(keeper.get("people/?left=true")) == ["Gone"]
    assert names(keeper.get("people/?room=main-store&search=a")) == ["Ada", "Sam Weir"]
    is_problem(keeper.get("people/?room=cave-hut"), 404, "not-found")


# ----------------------------------------------------------------------------------- add and edit
def test_a_keeper_adds_somebody(keeper: Caller) -> None:
    body = {"name": "Sam Weir", "phone": "01632 960001", "home_room": "main-store",
            "language": "cy"}  # fmt: skip
    row = shown(keeper.post("people/", body), 201)
    assert {k: row[k] for k in body} == body
    assert (row["username"], row["roles"], row["left_on"]) == (None, [], None)


@pytest.mark.parametrize(
    ("field", "value"),
    [("name", ""), ("name", "x" * 121), ("name", "a\nb"), ("name", None), ("email", "sam"),
     ("language", "English"), ("home_room", "Main Store"), ("id", 7), ("left_on", "2026-01-01"),
     ("roles", []), ("username", "x")],
)  # fmt: skip
def test_a_wrong_field_of_a_person_is_named(keeper: Caller, field: str, value: Any) -> None:
    body = is_problem(keeper.post("people/", {"name": "Sam", field: value}), 400, "invalid-request")
    assert list(body["errors"]) == [field]


def test_a_keeper_adds_nobody_to_a_room_that_is_not_theirs(keeper: Caller, hut: Room) -> None:
    body = {"name": "Sam", "home_room": "cave-hut"}
    is_problem(keeper.post("people/", body), 404, "not-found")
    assert not Person.objects.filter(name="Sam").exists()


def test_a_guide_edits_themselves_and_nobody_else(guide: Caller, store: Room) -> None:
    me = guide.token.user.person
    assert shown(guide.patch(f"people/{me.pk}/", {"phone": "1"}))["phone"] == "1"
    is_problem(guide.patch(f"people/{me.pk}/", {"home_room": None}), 403, "role-missing")
    sam = someone(home_room=store)
    is_problem(guide.patch(f"people/{sam.pk}/", {"phone": "1"}), 403, "role-missing")
    is_problem(guide.post(f"people/{sam.pk}/left/"), 403, "role-missing")


def test_a_keeper_of_one_room_does_not_edit_an_administrator_of_all(
    keeper: Caller, admin: User
) -> None:
    path = f"people/{admin.person.pk}/"
    is_problem(keeper.patch(path, {"email": "mine@example.org"}), 403, "role-missing")
    is_problem(keeper.post(path + "left/"), 403, "role-missing")


# ------------------------------------------------------------------------------------ come and go
def test_who_left_cannot_sign_in_and_their_tokens_end(
    keeper: Caller, guide: Caller, store: Room
) -> None:
    guide.token.user.set_password("a long password")
    guide.token.user.save()
    row = shown(keeper.post(f"people/{guide.token.user.person.pk}/left/"))
    assert row["left_on"] == str(clock.today(store.time_zone))
    is_problem(guide.get("rooms/"), 401, "token-refused")
    assert not Client().login(username="guide", password="a long password")
    back = shown(keeper.post(f"people/{guide.token.user.person.pk}/back/"))
    assert back["left_on"] is None and back["roles"] == row["roles"]
    assert Client().login(username="guide", password="a long password")
    is_problem(guide.get("rooms/"), 401, "token-refused")


def test_nobody_leaves_in_the_future(keeper: Caller, store: Room) -> None:
    sam = someone(home_room=store)
    body = is_problem(keeper.post(f"people/{sam.pk}/left/", {"on": "2199-01-01"}), 422,
                      "cannot-be-right")  # fmt: skip
    assert list(body["errors"]) == ["on"]
    assert shown(keeper.post(f"people/{sam.pk}/left/", {"on": "2026-01-31"}))["left_on"] == (
        "2026-01-31"
    )


# --------------------------------------------------------------------------------- sign-ins, roles
def test_a_sign_in_is_made_with_a_password_shown_once(call: Caller, store: Room) -> None:
    sam = someone(email="sam@example.org", home_room=store)
    key = "123e4567-e89b-42d3-a456-426614174000"
    path, body = f"people/{sam.pk}/sign-in/", {"username": "sam"}
    made = shown(call.post(path, body, idempotency_key=key), 201)
    assert Client().login(username="sam", password=made["password"])
    again = call.post(path, body, idempotency_key=key)
    assert shown(again, 201) == {"username": "sam", "password": None}
    assert made["password"] not in KeptAnswer.objects.get(key=key).body
    assert Person.objects.get(user__username="sam") == sam
    newer = shown(call.post(path), 201)
    assert not Client().login(username="sam", password=made["password"])
    assert Client().login(username="sam", password=newer["password"])


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({}, 422, "cannot-be-right"),
        ({"username": "a b"}, 422, "cannot-be-right"),
        ({"username": "ADMIN"}, 409, "name-taken"),
        ({"username": "x" * 151}, 400, "invalid-request"),
    ],
)
def test_a_sign_in_needs_a_name_that_is_free(
    call: Caller, body: dict[Any, Any] | dict[str, str], status: int, code: str
) -> None:
    sam = someone()
    is_problem(call.post(f"people/{sam.pk}/sign-in/", body), status, code)
    assert Person.objects.get(pk=sam.pk).user is None


def test_a_name_for_signing_in_is_not_changed(call: Caller, admin: User) -> None:
    body = {"username": "other"}
    is_problem(call.post(f"people/{admin.person.pk}/sign-in/", body), 409, "has-sign-in")


def test_an_administrator_of_one_room_gets_no_hold_of_another(
    call: Caller, admin: User, store: Room, hut: Room
) -> None:
    local = Caller(somebody("local", Role.ADMINISTRATOR, store))
    both = somebody("both", Role.GUIDE, store).person
    both.memberships.create(room=hut, role=Role.KEEPER.value)
    for person, status in ((admin.person, 403), (both, 404)):
        answer = local.post(f"people/{person.pk}/sign-in/")
        assert answer.status_code == status, answer.content
    for room, status in (("main-store", 200), ("cave-hut", 404), (None, 403)):
        body = {"role": "keeper", "room": room}
        answer = local.post(f"people/{both.pk}/roles/", body)
        assert answer.status_code == status, answer.content
    is_problem(local.post("rooms/", {"name": "N", "slug": "n"}), 403, "role-missing")
    is_problem(local.patch("rooms/cave-hut/", {"phone": "1"}), 404, "not-found")
    assert local.patch("rooms/main-store/", {"phone": "1"}).status_code == 200


def test_a_role_is_given_and_taken(call: Caller, store: Room) -> None:
    sam = someone()
    body = {"role": "guide", "room": "main-store"}
    for _ in range(2):
        row = shown(call.post(f"people/{sam.pk}/roles/", body))
        assert row["roles"] == [{"room": "main-store", "role": "guide"}]
    assert shown(call.post(f"people/{sam.pk}/roles/end/", body))["roles"] == []
    is_problem(call.post(f"people/{sam.pk}/roles/end/", body), 404, "not-found")


def test_the_last_administrator_stays(call: Caller, admin: User) -> None:
    path = f"people/{admin.person.pk}/"
    everywhere = {"role": "administrator", "room": None}
    is_problem(call.post(path + "roles/end/", everywhere), 409, "last-administrator")
    is_problem(call.post(path + "left/"), 409, "last-administrator")
    somebody("second", Role.ADMINISTRATOR)
    assert call.post(path + "roles/end/", everywhere).status_code == 200


@pytest.mark.parametrize("role", ["king", "Guide", ""])
def test_a_role_is_one_of_the_table(call: Caller, store: Room, role: str) -> None:
    sam = someone()
    answer = call.post(f"people/{sam.pk}/roles/", {"role": role, "room": None})
    is_problem(answer, 400, "invalid-request")
    with pytest.raises(DatabaseError), transaction.atomic():
        Membership.objects.create(person=sam, role=role)


# ------------------------------------------------------------------------------------------ rooms
def test_a_room_of_others_is_not_there(guide: Caller, hut: Room) -> None:
    assert [r["slug"] for r in shown(guide.get("rooms/"))["results"]] == ["main-store"]
    is_problem(guide.get("rooms/cave-hut/"), 404, "not-found")


@pytest.mark.parametrize(
    ("field", "value", "status", "code"),
    [
        ("time_zone", "Mars/Olympus", 422, "cannot-be-right"),
        ("time_zone", "../etc/passwd", 422, "cannot-be-right"),
        ("slug", "a b", 400, "invalid-request"),
        ("name", "", 400, "invalid-request"),
    ],
)
def test_a_wrong_field_of_a_room_is_refused(
    call: Caller, field: str, value: str, status: int, code: str
) -> None:
    answer = call.post("rooms/", {"name": "Hut", "slug": "hut", field: value})
    is_problem(answer, status, code)


@pytest.mark.parametrize("same", [{"name": "Main store"}, {"slug": "main-store"}])
def test_two_rooms_do_not_share_a_name(call: Caller, store: Room, same: dict[str, str]) -> None:
    body = is_problem(call.post("rooms/", {"name": "N", "slug": "n", **same}), 409, "name-taken")
    assert next(iter(same.values())) in body["detail"]


# ----------------------------------------------------------------------------------------- tokens
def test_a_token_is_made_used_renamed_and_ended(call: Caller) -> None:
    body = {"name": "Booking", "scopes": ["read", "trips"], "days": 30}
    key = "123e4567-e89b-42d3-a456-426614174000"
    made = shown(call.post("tokens/", body, idempotency_key=key), 201)
    assert made["secret"].startswith("gr_") and made["scopes"] == ["read", "trips"]
    assert shown(call.post("tokens/", body, idempotency_key=key), 201) == {**made, "secret": None}
    assert made["secret"] not in KeptAnswer.objects.get(key=key).body
    header = f"Bearer {made['secret']}"
    assert call.get("rooms/", authorization=header).status_code == 200
    path = f"tokens/{made['id']}/"
    assert shown(call.patch(path, {"name": "Trips"}))["name"] == "Trips"
    assert "secret" not in shown(call.get(path))
    assert shown(call.post(path + "revoke/"))["revoked_at"]
    is_problem(call.get("rooms/", authorization=header), 401, "token-refused")
    ended = shown(call.get(path))["revoked_at"]
    assert shown(call.post(path + "revoke/"))["revoked_at"] == ended


def test_tokens_of_others_are_not_there(call: Caller, keeper: Caller) -> None:
    assert len(shown(keeper.get("tokens/"))["results"]) == 1
    for method, path in (("get", ""), ("post", "revoke/")):
        answer = getattr(keeper, method)(f"tokens/{call.token.pk}/{path}")
        is_problem(answer, 404, "not-found")
    assert Token.objects.get(pk=call.token.pk).revoked_at is None


def test_a_token_gives_no_scope_that_it_lacks(admin: User) -> None:
    call = Caller(admin, scopes=["read", "admin"])
    body = {"name": "x", "scopes": ["read", "stock"]}
    assert is_problem(call.post("tokens/", body), 403, "scope-missing")["scope"] == "stock"
    assert call.post("tokens/", {"name": "x", "scopes": ["read"]}).status_code == 201


@pytest.mark.parametrize(
    ("field", "value"),
    [("scopes", []), ("scopes", ["all"]), ("scopes", "read"), ("days", 0), ("days", 3651),
     ("days", "7"), ("name", "")],
)  # fmt: skip
def test_a_wrong_field_of_a_token_is_named(call: Caller, field: str, value: Any) -> None:
    body = {"name": "x", "scopes": ["read"], field: value}
    found = is_problem(call.post("tokens/", body), 400, "invalid-request")
    assert [name.split(".")[0] for name in found["errors"]] == [field]


def test_a_token_may_be_made_for_ever_with_one_that_is(call: Caller) -> None:
    Token.objects.update(expires_at=None)
    made = shown(call.post("tokens/", {"name": "x", "scopes": ["read"], "days": None}), 201)
    assert made["expires_at"] is None
