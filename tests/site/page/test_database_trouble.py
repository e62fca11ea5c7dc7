"""A database that is busy, full, read-only or away is said as such, by API, page and sign-in; its
cause is logged, what is only read goes on, and what is sent again is done once."""

import logging
import sqlite3
import uuid
from collections.abc import Callable
from contextlib import closing
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection, connections

from gearroom.core.models import Token, TryCount
from gearroom.core.services.accounts import tokens
from kits.models import Entry
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import browser, form_with, text_of

PASSWORD = "the gorge is dry today"
MOST = 400


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def world(open_database: str) -> make.World:
    made = make.make_world()
    for who in (made.keeper, made.guide):
        present(who.user).set_password(PASSWORD)
        present(who.user).save()
    return made


def sql(statement: str) -> Any:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchone() if cursor.description else None


def receive(call: Any, world: make.World, key: uuid.UUID | None = None) -> Any:
    body = {"item": world.dressing.pk, "shelf": str(world.shelf.pk), "units": 1,
            "number": "D1", "expiry": make.days(400).isoformat()}  # fmt: skip
    return call.post("stock/receive/", body, idempotency_key=str(key or uuid.uuid4()))


def until_full(write: Callable[[], Any]) -> Any:
    """Write until it no longer works; the answer that says so."""
    for _ in range(MOST):
        answer = write()
        if answer.status_code not in (200, 201, 302):
            return answer
    raise AssertionError(f"{MOST} writes all went through")


# ------------------------------------------------------------------------------------ a full disk
@pytest.fixture
def full(engine: str, world: make.World) -> Callable[[bool], None]:
    """full(True): the disk has no room; full(False): it has again."""

    def be(full: bool) -> None:
        if connection.vendor == "sqlite":
            (pages,) = sql("PRAGMA page_count")
            sql(f"PRAGMA max_page_count = {pages if full else 2**30}")
            return
        for table in ("kits_entry", "core_keptanswer", "django_session", "core_token"):
            if not full:
                sql(f"DROP TRIGGER no_room ON {table}")
                continue
            sql(
                "CREATE OR REPLACE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
                "RAISE EXCEPTION 'could not extend file' USING ERRCODE = '53100'; END $$"
            )
            sql(
                f"CREATE TRIGGER no_room BEFORE INSERT OR UPDATE ON {table}"
                " FOR EACH ROW EXECUTE FUNCTION no_room()"
            )

    return be


def test_a_full_disk_is_named_and_what_was_sent_is_done_once_there_is_room(
    world: make.World, full: Callable[[bool], None], caplog: pytest.LogCaptureFixture
) -> None:
    call = make.caller(world.keeper)
    full(True)
    key = [uuid.uuid4()]

    def write() -> Any:
        key[0] = uuid.uuid4()
        return receive(call, world, key[0])

    with caplog.at_level(logging.ERROR, logger="gearroom.core.database_failures"):
        answer = until_full(write)

    is_problem(answer, 507, "storage-full")
    assert "The storage is full" in answer.json()["detail"]
    assert any("SQLITE_FULL" in line or "53100" in line for line in caplog.messages)
    before = Entry.objects.count()
    assert call.get("kits/DAY-01/").status_code == 200
    assert call.get("stock/").status_code == 200
    is_problem(receive(call, world, key[0]), 507, "storage-full")

    full(False)

    assert receive(call, world, key[0]).status_code == 201
    again = receive(call, world, key[0])
    assert again["Idempotency-Replayed"] == "true"
    assert Entry.objects.count() == before + 1


def test_a_token_goes_on_reading_though_its_use_cannot_be_noted(
    world: make.World, full: Callable[[bool], None]
) -> None:
    call = make.caller(world.keeper)
    full(True)
    if connection.vendor == "sqlite":
        sql("PRAGMA query_only = ON")
    Token.objects.get(pk=call.token.pk)

    assert call.get("kits/DAY-01/").status_code == 200
    assert Token.objects.get(pk=call.token.pk).last_used_at is None
    assert tokens.by_secret(call.secret) is not None


def test_a_page_goes_on_and_its_form_says_that_storage_is_full(
    world: make.World, full: Callable[[bool], None]
) -> None:
    client = browser(world.keeper)
    path = f"/stock/count/{world.shelf.pk}/"
    fields = form_with(client.get(path), "began")
    said = {f"lot-{world.dressings.pk}": "12"}
    fields = form_with(client.post(path, {**fields, **said}), 'name="write"')
    full(True)

    answer = until_full(
        lambda: client.post(path, {**fields, "write": "1", "key": str(uuid.uuid4())})
    )

    assert answer.status_code == 507
    assert "The storage is full" in text_of(answer)
    assert f'name="lot-{world.dressings.pk}"' in answer.content.decode()  # what was typed is there
    for page in ("/", "/kits/", "/kits/DAY-01/", "/stock/", "/trips/", "/scan/?text=DAY-01"):
        assert client.get(page).status_code == 200, page


def test_signing_in_says_that_storage_is_full(
    world: make.World, full: Callable[[bool], None]
) -> None:
    full(True)

    def sign_in() -> Any:
        TryCount.objects.all().delete()
        words = {"username": present(world.keeper.user).username, "password": PASSWORD}
        return browser().post("/sign-in/", words)

    answer = until_full(sign_in)

    assert answer.status_code == 507
    assert "The storage is full" in text_of(answer)
    assert present(world.keeper.user).username in answer.content.decode()
    assert browser().get("/sign-in/").status_code == 200
    full(False)
    assert sign_in().status_code == 302


def test_a_shared_device_is_shown_its_pages_though_nobody_can_note_the_touch(
    world: make.World, full: Callable[[bool], None]
) -> None:
    device = browser(world.keeper)
    device.post("/devices/", {"room": world.store.slug, "name": "Phone"})
    device.post("/hatch/", {"person": world.guide.pk, "to": "/"})
    full(True)
    if connection.vendor == "sqlite":
        sql("PRAGMA query_only = ON")

    assert device.get("/").status_code == 200
    assert device.get("/scan/").status_code == 200


# ---------------------------------------------------------------------------------- other trouble
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_book_that_somebody_else_writes_in_is_busy(world: make.World) -> None:
    call = make.caller(world.keeper)
    client = browser(world.keeper)
    connections["default"].close()
    connections["default"].settings_dict["OPTIONS"]["timeout"] = 0
    with closing(sqlite3.connect(connection.settings_dict["NAME"])) as other:
        other.execute("BEGIN IMMEDIATE")
        answer = receive(call, world)
        page = client.get("/kits/")

    is_problem(answer, 503, "busy")
    assert answer["Retry-After"] == "5"
    assert page.status_code == 200


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_a_row_that_somebody_else_holds_for_too_long_is_busy(
    world: make.World, own_database: str
) -> None:
    import psycopg

    call = make.caller(world.keeper)
    sql("SET lock_timeout = '200ms'")
    with psycopg.connect(own_database) as other:
        other.execute("SELECT 1 FROM kits_kit FOR UPDATE")
        answer = call.post("kits/DAY-01/look-inside/")

    is_problem(answer, 503, "busy")


def test_a_book_that_may_only_be_read_says_so(
    world: make.World, caplog: pytest.LogCaptureFixture
) -> None:
    call = make.caller(world.keeper)
    client = browser(world.keeper)
    if connection.vendor == "sqlite":
        sql("PRAGMA query_only = ON")
    else:
        sql("SET default_transaction_read_only = on")

    is_problem(receive(call, world), 503, "read-only")
    assert call.get("stock/").status_code == 200
    assert client.get("/kits/DAY-01/").status_code == 200
    assert any("SQLITE_READONLY" in line or "25006" in line for line in caplog.messages)
    answer = browser().post(
        "/sign-in/", {"username": present(world.keeper.user).username, "password": PASSWORD}
    )
    assert answer.status_code == 503
    assert "read-only at the moment" in text_of(answer)


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_a_database_that_is_away_is_not_called_busy(
    engine: str, use_database: Callable[[str], None]
) -> None:
    use_database("postgresql://nobody@127.0.0.1:1/nothing")
    client = browser()

    words = {"username": "kim", "password": PASSWORD}
    answer = client.post("/sign-in/", words)
    assert answer.status_code == 503
    assert "The database is not responding" in text_of(answer)
    api = client.get("/api/v1/rooms/", headers={"authorization": "Bearer gr_x"})
    is_problem(api, 503, "no-database")


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_mistake_of_ours_is_no_trouble_of_the_database(world: make.World) -> None:
    client = browser(world.keeper)
    client.raise_request_exception = False
    call = make.caller(world.keeper)
    call.client.raise_request_exception = False
    sql("ALTER TABLE kits_item RENAME TO elsewhere")

    is_problem(call.get("items/"), 500, "internal-error")
    assert client.get("/stock/").status_code == 500
