"""Who asks: by browser, by token, at a shared device, by a link, or nobody at all."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.test import Client

from gearroom.core.acts import Act, actor_of
from gearroom.core.rules.roles import Scope
from gearroom.core.services.accounts import shared_devices as hatch, tokens
from tests.matrix.accounts import PIN, Account
from tests.matrix.school.sides import School
from tests.matrix.table import ROLES

STORE, HUT = "store", "hut"


@dataclass(frozen=True)
class Identity:
    """One who asks. `role` is what they are (of `ROLES`, or none), `room` where (None: in every
    room, or in none), `scope` what their token is for, `hatch` how sure a shared device is of
    them: nobody, named or pin."""

    name: str
    role: str = ""
    room: str | None = None
    scope: str = ""
    hatch: str = ""
    signed_in: bool = True


IDENTITIES = (
    Identity("nobody", signed_in=False),
    Identity("passer-by with a link", signed_in=False),
    Identity("guide", "guide", STORE),
    Identity("instructor", "instructor", STORE),
    Identity("keeper", "keeper", STORE),
    Identity("administrator", "administrator", STORE),
    Identity("guide of the other room", "guide", HUT),
    Identity("instructor of the other room", "instructor", HUT),
    Identity("keeper of the other room", "keeper", HUT),
    Identity("administrator of the other room", "administrator", HUT),
    Identity("adviser", "adviser"),
    Identity("organisation administrator", "chief"),
    Identity("no role"),
    Identity("read-only token", "administrator", STORE, scope="read"),
    Identity("trips-only token", "administrator", STORE, scope="trips"),
    Identity("admin token", "administrator", STORE, scope="admin"),
    Identity("shared device", "guide", STORE, hatch="nobody"),
    Identity("shared device with a person", "keeper", STORE, hatch="named"),
    Identity("shared device with a PIN", "keeper", STORE, hatch="pin"),
)
"""The fifteen that an attack from outside and inside takes, told apart where it matters: each role
of a room, and who belongs to the whole organisation."""
assert {who.role for who in IDENTITIES} - {""} <= set(ROLES)


@dataclass
class Asker:
    """An identity as it asks in a school: with the cookies of its browser, or its token."""

    who: Identity
    account: Account | None
    cookies: dict[str, str] = field(default_factory=dict)
    token: str = ""


def askers(school: School) -> dict[str, Asker]:
    """Every identity, signed in."""
    return {who.name: _asker(who, school) for who in IDENTITIES}


def _asker(who: Identity, school: School) -> Asker:
    if not who.signed_in:
        client = Client()
        if who.name != "nobody":
            client.get(f"/used/{school.store.links['used']}/")
        return Asker(who, None, _cookies(client))
    account = _account(who, school)
    if who.scope:
        _token, secret = tokens.make(
            user=account.user, name="program", scopes=[Scope(who.scope)], days=1
        )
        return Asker(who, account, token=secret)
    client = Client()
    client.force_login(account.user)
    if who.hatch:
        _make_shared(client, who, school)
    return Asker(who, account, _cookies(client))


def _account(who: Identity, school: School) -> Account:
    if who.hatch:
        return school.store.people["keeper"]
    if who.room is None:
        named = {"adviser": school.all.adviser, "chief": school.all.chief}
        return named.get(who.role, school.all.newcomer)
    side = school.store if who.room == STORE else school.hut
    return side.people[who.role]


def _make_shared(client: Client, who: Identity, school: School) -> None:
    """Make the browser a shared device of the store, as its keeper does; and stand before it."""
    keeper = school.store.people["keeper"]
    person = keeper.person
    if not person.pin:
        hatch.choose_pin(Act(actor_of(keeper.user)), PIN)
    made = client.post("/devices/", {"room": school.store.room.slug, "name": who.hatch})
    assert made.status_code == 302, made.content
    if who.hatch in ("named", "pin"):
        assert client.post("/hatch/", {"person": person.pk}).status_code == 302
    if who.hatch == "pin":
        assert client.post("/hatch/pin/", {"pin": PIN}).status_code == 302


def _cookies(client: Client) -> dict[str, str]:
    return {name: morsel.value for name, morsel in client.cookies.items()}


def ask(client: Client, asker: Asker, request: Any) -> Any:
    """Send a request as somebody; the answer, whole."""
    client.cookies.clear()
    for name, value in asker.cookies.items():
        client.cookies[name] = value
    headers = dict(request.headers)
    if asker.token:
        headers["Authorization"] = f"Bearer {asker.token}"
    if request.is_api and request.method != "GET":
        headers["Idempotency-Key"] = str(uuid.uuid4())
    answer: Any = client.generic(
        request.method,
        request.path,
        request.content,
        content_type=request.content_type,
        headers=headers,
    )
    if answer.streaming:
        answer.content_whole = b"".join(_chunks(answer))
    else:
        answer.content_whole = answer.content
    return answer


def _chunks(answer: Any) -> Iterable[bytes]:
    return answer.streaming_content  # type: ignore[no-any-return]  # bytes of a response
