"""A GET writes nothing: whoever follows a link, loads a page again or is a program that fetches
addresses ahead changes nothing in the book by it. The pages that `tests.site.every_page` lists are
read by every role in tests/site/page/test_every_role.py; here is every other address that a route
has, of pages and the API."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.urls import URLPattern, URLResolver, get_resolver

from gearroom.core import clock
from gearroom.core.models import SignedIn
from gearroom.core.rules.roles import Role
from kits.models import Checkout, Entry, Label, Trip
from kits.services.custody import use_requests
from tests.core.api.made import Caller
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import browser
from tests.site.every_page import PAGES, address, furnished

# One engine: nothing here is about what a database does.
pytestmark = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)

NOTED = ("django_session", "core_signedin", "core_token")
"""Tables in which it is noted when a sign-in or a token was last used."""
A_NOTE = re.compile(
    r'\s*(?:\w+ (?:INTO |FROM )?"django_session"'
    r'|UPDATE "core_signedin" SET "seen_at" = \S+ WHERE'
    r'|UPDATE "core_token" SET "last_used_at" = \S+ WHERE)'
)
PREVIEWS = ("/undo/",)
"""Pages that show what an act would do by doing it and taking it back in one transaction."""
WRITES = re.compile(r"\s*(?:INSERT|UPDATE|DELETE|REPLACE)\b", re.I)


def test_reading_any_page_or_part_of_the_api_writes_nothing(open_database: str) -> None:
    cache.clear()
    world = furnished()
    paths = {*every_address(world), *texts()} - {address(path) for path in PAGES}
    administrator = make.person("Adam", Role.ADMINISTRATOR)
    clients = {
        "nobody": browser(),
        "guide": browser(world.guide),
        "keeper": browser(world.keeper),
        "administrator": browser(administrator),
    }
    for client in (clients["guide"], clients["keeper"]):  # one of whose sessions ran out
        user = client.session["_auth_user_id"]
        SignedIn.objects.create(
            user_id=user, session_key=f"gone-{user}", on="phone", since=clock.now(),
            seen_at=clock.now(),
        )  # fmt: skip
    before = rows()
    wrong, shown, read = [], set(), set()

    for who, client in clients.items():
        for path in sorted(paths):
            if path.startswith("/api/v1/") and who in ("guide", "administrator"):
                continue  # by the keeper's session, and the administrator's program below
            with writes() as written:
                answer = client.get(path)
                b"".join(answer)  # what streams is made now
            if not path.startswith(PREVIEWS):
                wrong += [f"{who} {path}: {statement}" for statement in written]
            shown |= {path} if answer.status_code in (200, 204, 302) else set()
            read |= {path} if answer.status_code != 405 else set()
            cache.clear()  # so many requests a minute

    program = Caller(present(administrator.user))
    for path in sorted(each for each in paths if each.startswith("/api/v1/")):
        with writes() as written:
            answer = program.get(path.removeprefix("/api/v1/"))
        wrong += [f"program {path}: {statement}" for statement in written]
        cache.clear()
    assert not wrong, "\n".join(wrong)
    assert {name: n for name, n in rows().items() if n != before[name]} == {}
    assert len(shown) > 200, sorted(read - shown)


@contextmanager
def writes() -> Iterator[list[str]]:
    """The statements that write in the block, except such `A_NOTE`."""
    found: list[str] = []

    def look(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if WRITES.match(sql) and not A_NOTE.match(sql):
            found.append(sql[:200])
        return execute(sql, params, many, context)

    with connection.execute_wrapper(look):
        yield found


def rows() -> dict[str, int]:
    """How many rows each table has."""
    tables = [t for t in connection.introspection.table_names() if t not in NOTED]
    with connection.cursor() as cursor:
        return {
            name: cursor.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in tables
        }


# --------------------------------------------------------------------------------- every address
def every_address(world: make.World) -> Iterator[str]:
    """The address of every route, with the first of everything in it."""
    values: dict[str, list[Any]] = {
        "kit": ["DAY-01", "DAY-02", "DAY-03"],
        "room": [world.store.slug],
        "item": [world.dressing.pk],
        "lot": [world.dressings.pk],
        "place": [world.shelf.pk],
        "shelf": [world.shelf.pk],
        "code": [label.code for label in Label.objects.all()],
        "key": ["main"],
        "number": [1, 2],
        "source": ["by-hand"],
        "reference": [Trip.objects.get(name="Crag walk").reference],
        "entry": [Entry.objects.latest("id").pk],
        "link": [use_requests.token(checkout) for checkout in Checkout.objects.all()],
        "signature": ["nothing"],
        "role": ["guide"],
        "uid": ["MQ"],
        "token": ["1-2"],
        "secret": ["0" * 43],
    }
    for route in every_route(get_resolver()):
        names = re.findall(r"<(?:\w+:)?(\w+)>", route)
        yield from filled(route, names, values)


def texts() -> Iterator[str]:
    """The scan page's address with whatever can be scanned in it."""
    for text in [label.code for label in Label.objects.all()]:
        yield f"/scan/?text={text}"
    for text in ("(01)09506000134352(17)300531(10)D9", "(01)09506000134352", "nothing of the kind"):
        yield f"/scan/?text={text}"


def every_route(resolver: URLResolver, before: str = "") -> Iterator[str]:
    """The routes below a resolver; a pattern's beginning and end are not part of it."""
    for each in resolver.url_patterns:
        route = before + re.sub(r"^\^|/?\??\$$", "", str(each.pattern))
        if isinstance(each, URLResolver):
            yield from every_route(each, route)
        elif isinstance(each, URLPattern):
            yield route


def filled(route: str, names: list[str], values: dict[str, list[Any]]) -> Iterator[str]:
    """The addresses of a route, one for each value that its first variable part may have."""
    if not names:
        yield "/" + re.sub(r"\[Ll\]", "L", route)
        return
    for value in values.get(names[0], [1]):
        with_it = re.sub(r"\(\?P<\w+>[^)]*\)|<(?:\w+:)?\w+>", str(value), route, count=1)
        yield from filled(with_it, names[1:], values)
