"""Every page for every role: shown, or properly refused with what to do; and nothing is written."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client

from gearroom.core.models import User
from gearroom.core.rules.roles import Role
from tests.kits import factories as make
from tests.site.browsing import browser
from tests.site.every_page import PAGES, address, furnished
from tests.site.page.test_reading_writes_nothing import PREVIEWS, writes

# One engine: nothing here is about what a database does.
pytestmark = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)

WHO = (
    "guide",
    "instructor",
    "keeper",
    "adviser",
    "stranger",
    "administrator",
    "program",
    "newcomer",
    "hatch",
    "nobody",
)
REFUSED = (
    "/nowhere/",
    "/labels/print/",
    "/kits/DAY-02/strip/?text=nothing of the kind",
    "/used/{answered_link}/",
)
OPEN = ("/sign-in/", "/help/", "/offline/", "/used/", "/trip-advice/")
SENTENCE = re.compile(r'<p class="lead">(.*?)</p>|<div class="problem"[^>]*>(.*?)</div>', re.S)
WHAT_TO_DO = re.compile(
    r"\b(Ask|Call|Check|Choose|Enter|First choose|Give|Go|Load|Look|Make|Print|Scan|Set|Log in"
    r"|Take|Tell|tell a keeper|Type|Use)\b"
)


def test_every_page_is_shown_to_every_role_or_refused_with_what_to_do(open_database: str) -> None:
    world = furnished()
    clients = {who: _browser(who, world) for who in WHO}
    wrong = []
    for path in PAGES:
        shown = 0
        for who, client in clients.items():
            client.raise_request_exception = False
            with writes() as written:
                answer = client.get(address(path))
            shown += answer.status_code == 200
            if not path.startswith(PREVIEWS):
                wrong += [f"{who} {path} writes: {statement}" for statement in written]
            wrong += [f"{who} {path}: {each}" for each in _faults(who, path, answer)]
        if not shown and path not in REFUSED:
            wrong.append(f"{path}: nobody sees it")

    assert not wrong, "\n".join(wrong)


def _browser(who: str, world: make.World) -> Client:
    if who == "nobody":
        return browser()
    if who == "hatch":
        client = browser(world.keeper)
        client.post("/devices/", {"room": world.store.slug, "name": "Phone"})
        return client
    made = {"administrator": Role.ADMINISTRATOR, "program": Role.INTEGRATION}
    if who in made:
        return browser(make.person(who.capitalize(), made[who]))
    if who == "newcomer":
        return browser(User.objects.create_user("newcomer").person)
    return browser(getattr(world, who))


def _faults(who: str, path: str, answer: Any) -> Iterator[str]:
    status = answer.status_code
    if status == 302:
        to = answer["Location"]
        asked = to.startswith(("/sign-in/?next=", "/hatch/?to=", "/hatch/pin/?to="))
        if who not in ("nobody", "hatch") and asked:
            yield f"sent away to {to}"
        return
    if status not in (200, 400, 403, 404, 409):
        yield f"answered {status}"
        return
    if "{{" in answer.content.decode() or "{%" in answer.content.decode():
        yield "a template's mark is left in it"
    if who == "nobody" and status == 200 and not path.startswith(OPEN):
        yield "shown to nobody in particular"
    said = SENTENCE.search(answer.content.decode())
    if status != 200 and not (said and WHAT_TO_DO.search(said[0])):
        yield f"refused ({status}) without what to do: {said and said[0]}"
