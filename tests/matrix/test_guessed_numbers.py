"""A number or a name of another room's, guessed in any one field of an act on one's own, leads
nowhere: it is refused just as one that nobody has."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import pytest

from tests.matrix.conftest import Stage, taken_back
from tests.matrix.exceptions import MAY_NAME
from tests.matrix.identities import HUT, IDENTITIES, Identity, ask
from tests.matrix.requests.making import Aim, Sent, made
from tests.matrix.table import Row, table
from tests.matrix.test_matrix import REQUESTS, code_of, is_done
from tests.matrix.watch import gives_away, watched


def _who(row: Row) -> Identity | None:
    """One of the store who may, by a browser of their own or at a shared device."""
    ours = (who for who in IDENTITIES if who.room not in (None, HUT) and not who.scope)
    return next((who for who in ours if row.may(who, own=True)), None)


WITH_FIELDS = [
    name for name, row in table().items() if row.to_others == "hidden" and _who(row) is not None
]


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
@pytest.mark.parametrize("operation", WITH_FIELDS)
def test_a_guess_in_any_field_is_refused_as_one_that_nobody_has(
    operation: str, stage: Stage
) -> None:
    row = table()[operation]
    who = _who(row)
    assert who is not None
    asker = stage.askers[who.name]
    school = stage.school
    mine = Aim(school, school.store, asker.account)
    others = Aim(school, school.hut, school.hut.people["mate"])
    wrong = []
    with taken_back():
        own, other, none = (
            REQUESTS[operation](aim) for aim in (mine, others, Aim(school, None, None))
        )
    fields = {at for at, value in _leaves(own) if value != dict(_leaves(other)).get(at, value)}
    for at in fields if len(fields) > 1 else ():
        if (operation, at) in MAY_NAME:
            continue
        signs = []
        for guess in (other, none):
            sent = _with(own, at, dict(_leaves(guess))[at])
            request = made(operation, sent)
            with taken_back(), watched() as watch:
                answer = ask(stage.client, asker, request)
                done = is_done(answer, sent)
            signs.append((answer.status_code, code_of(answer)))
            if guess is other and (done or watch.wrote):
                wrong.append(f"{at}: done, {signs[-1]}, wrote {watch.wrote}")
            if found := gives_away(answer, request, {"cave-hut"}):
                wrong.append(f"{at}: gives away {sorted(found)[:3]}")
        if signs[0] != signs[1]:
            wrong.append(f"{at}: another room's is told apart from none: {signs}")
    assert not wrong, f"{operation} · {who.name}\n" + "\n".join(wrong)


def _leaves(sent: Sent) -> Iterator[tuple[str, Any]]:
    """Every value of a request, by where it stands."""
    for part, value in (("parts", sent.parts), ("query", sent.query), ("body", sent.body)):
        yield from _within(part, value)


def _within(at: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _within(f"{at} {name}", inner)
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _within(f"{at} {number}", inner)
    else:
        yield at, value


def _with(sent: Sent, at: str, value: Any) -> Sent:
    """A request with another value at one place."""
    part, *names = at.split(" ")
    return replace(sent, **{part: _put(getattr(sent, part), names, value)})


def _put(into: Any, names: list[str], value: Any) -> Any:
    if not names:
        return value
    name, *inner = names
    if isinstance(into, list):
        return [_put(x, inner, value) if str(n) == name else x for n, x in enumerate(into)]
    return {key: _put(x, inner, value) if key == name else x for key, x in into.items()}
