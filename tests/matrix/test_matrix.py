"""What comes of every operation is what the table says: for everybody, on theirs and others'."""

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from tests.matrix.conftest import Stage, taken_back
from tests.matrix.exceptions import NO_RIGHT_ASKED, NO_ROOM_ASKED
from tests.matrix.identities import HUT, IDENTITIES, Asker, ask
from tests.matrix.requests import api, desk, hatch, lists, stock
from tests.matrix.requests.making import Aim, Sent, made, say
from tests.matrix.table import Row, table
from tests.matrix.watch import Watch, gives_away, watched

REQUESTS = {
    operation: request
    for each in (api, hatch, lists, stock, desk)
    for operation, request in each.REQUESTS.items()
}
OWN, OTHER, NONE = "own", "other's", "none"
_NO = (200, 201, 302, 401, 403, 404)
SHORT = ("nobody", "read-only token", "shared device with a person")
"""Who asks in the short form, besides one who may; at every fourth operation also one who may in
the other room, which is like the first."""


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
@pytest.mark.parametrize("operation", [*table()])
def test_each_operation_does_what_the_table_says(operation: str, stage: Stage) -> None:
    row = table()[operation]
    here = [who.name for who in IDENTITIES if who.room != HUT and row.may(who, own=True)]
    there = [who.name for who in IDENTITIES if who.room == HUT and row.may(who, own=True)]
    assert here, f"{operation}: nobody may"
    in_turn = list(table()).index(operation) % 4 == 0
    check(stage, row, [here[0], *there[:in_turn], *SHORT])


@pytest.mark.long
@pytest.mark.parametrize("operation", [*table()])
def test_it_does_so_for_everybody(operation: str, stage: Stage) -> None:
    check(stage, table()[operation], [who.name for who in IDENTITIES])


def test_every_operation_stands_in_the_table_and_has_a_request() -> None:
    known = {operation.partition(" #")[0] for operation in table()}
    assert set(every_operation()) == known
    assert set(REQUESTS) == set(table())


# -------------------------------------------------------------------------------------- one case
def check(stage: Stage, row: Row, names: list[str]) -> None:
    """Send an operation as each of these, on each thing that it may be about."""
    things = [OWN] if row.to_others == "–" else [OWN, OTHER, NONE]
    wrong: list[str] = []
    for name in dict.fromkeys(names):
        asker = stage.askers[name]
        signs: dict[str, Any] = {}
        for thing in things:
            found = _faults(stage, row, asker, thing, signs)
            wrong += [f"{row.operation} · {name} · {thing}: {fault}" for fault in found]
        sees_all = asker.who.role and asker.who.room is None
        if row.to_others != "hidden" or sees_all or not signs.get(OTHER):
            continue
        if signs[OTHER] != signs[NONE]:
            wrong.append(
                f"{row.operation} · {name}: another room's is told apart from none: {signs}"
            )
    assert not wrong, "\n".join(wrong)


def _faults(
    stage: Stage, row: Row, asker: Asker, thing: str, signs: dict[str, Any]
) -> Iterator[str]:
    aim = _aim(stage, row, asker, thing)
    with taken_back():
        sent = REQUESTS[row.operation](aim)
        request = made(row.operation, sent)
        if sent.stands_in:
            ask(stage.client, asker, made("page POST room/", say(body={"room": sent.stands_in})))
        with watched() as watch:
            answer = ask(stage.client, asker, request)
        done = is_done(answer, sent)
    may = thing != NONE and row.may(asker.who, own=thing == OWN)
    told = f"{answer.status_code} {code_of(answer)}"
    if answer.status_code >= 500:
        yield f"answered {told}"
    elif may and not done:
        yield f"may, and was answered {told} {answer.content_whole[:300]!r}"
    elif done and not may:
        yield f"may not, and did: {told}"
    elif not may and thing == OWN and row.to_others != "label" and answer.status_code not in _NO:
        yield f"is to be refused for who they are, and was answered {told}"
    if not may and watch.wrote:
        yield f"refused, and wrote {watch.wrote}"
    if may and done:
        yield from _unasked(row, watch)
    if found := gives_away(answer, request, _rooms_of_others(row, asker, aim, thing)):
        yield f"gives away {sorted(found)[:4]} ({told})"
    if not may:
        signs[thing] = (answer.status_code, code_of(answer))


def _aim(stage: Stage, row: Row, asker: Asker, thing: str) -> Aim:
    sides = [stage.school.store, stage.school.hut]
    if asker.who.room == HUT:
        sides.reverse()
    if thing == NONE:
        return Aim(stage.school, None, None)
    side = sides[thing == OTHER]
    mine = asker.account if thing == OWN and asker.account else side.people["mate"]
    return Aim(stage.school, side, mine)


def is_done(answer: Any, sent: Sent) -> bool:
    """Whether it was done or shown: no refusal, and not sent away to say who one is."""
    if answer.status_code >= 400:
        return False
    to = answer.headers.get("Location", "")
    if to.startswith(("/sign-in/?", "/hatch/?to=", "/hatch/pin/?to=")):
        return False
    return sent.holds is None or sent.holds(answer)


def code_of(answer: Any) -> str:
    """What an answer says of itself in a word, to tell refusals apart."""
    if answer.status_code == 302:
        return str(answer.headers["Location"]).partition("?")[0]
    if "json" not in answer.headers.get("Content-Type", ""):
        return ""
    body = json.loads(answer.content_whole)
    if isinstance(body, dict) and "outcomes" in body:
        rows = [(row["outcome"], (row["problem"] or {}).get("code")) for row in body["outcomes"]]
        return str(rows)
    return str(body.get("code", "")) if isinstance(body, dict) else ""


def _rooms_of_others(row: Row, asker: Asker, aim: Aim, thing: str) -> set[str]:
    """The rooms (by slug) of which nothing may stand in an answer."""
    who = asker.who
    rooms = {"main-store", "cave-hut"}
    if who.role and who.room is None:
        return set()  # every room is theirs
    if who.role and who.signed_in:
        rooms -= {"cave-hut" if who.room == HUT else "main-store"}
    if "public" in row.who and aim.side is not None and thing != NONE:
        rooms -= {aim.side.room.slug}  # whoever has the link has what it leads to
    return rooms


def _unasked(row: Row, watch: Watch) -> Iterator[str]:
    """Whether it wrote before a service asked who may, and whose room it is."""
    if watch.wrote and not watch.right_before and row.operation not in NO_RIGHT_ASKED:
        yield f"writes {watch.wrote[0]} before a service asked for a right"
    room_matters = row.to_others == "hidden" and "self" not in row.who
    if (
        watch.wrote
        and room_matters
        and not watch.room_before
        and row.operation not in NO_ROOM_ASKED
    ):
        yield f"writes {watch.wrote[0]} before a service asked whose room it is"


# ------------------------------------------------------------------------------- every operation
def every_operation() -> Iterator[str]:
    """Every operation of the API and of the pages, by what its view takes."""
    for route, view in _routes(get_resolver()):
        path = re.sub(r"\^\[Ll\]/\(\?P<code>.*", "L/<code>", route)
        path = re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", path)
        if path.startswith("api/v1/"):
            of = getattr(view, "view_class", None) or view.cls
            for method in ("get", "post", "put", "patch", "delete"):
                if hasattr(of, method):
                    yield f"{method.upper()} {path.removeprefix('api/v1/')}"
            continue
        for method in _methods(view):
            yield f"page {method} {path}".strip()


def _methods(view: Any) -> set[str]:
    """The methods that a page takes: those that a decorator names, else both."""
    while view is not None:
        names = getattr(view, "__code__", None) and view.__code__.co_freevars
        for name, cell in zip(names or (), view.__closure__ or (), strict=True):
            if name == "request_method_list":
                return {"GET", "POST"} & set(cell.cell_contents)
        view = getattr(view, "__wrapped__", None)
    return {"GET", "POST"}


def _routes(resolver: URLResolver, before: str = "") -> Iterator[tuple[str, Any]]:
    for each in resolver.url_patterns:
        route = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from _routes(each, route)
        elif isinstance(each, URLPattern):
            yield route, each.callback
