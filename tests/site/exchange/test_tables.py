"""Tables from files, on pages: what was shown is done, and nothing else."""

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE
PEOPLE = "/tables/people/"


@pytest.fixture
def client() -> Any:
    make.world()
    return browser(make.person("Cleo Marsh", Role.ADMINISTRATOR))


def check(client: Any, *names: str) -> Any:
    content = "\n".join(["name", *names]).encode()
    return client.post(PEOPLE, {"file": SimpleUploadedFile("people.csv", content, "text/csv")})


def hidden(page: Any) -> dict[str, str]:
    return dict(re.findall(r'name="(sure|plan)" value="([^"]+)"', page.content.decode()))


def test_what_would_be_done_otherwise_by_now_is_refused_and_shown_anew(client: Any) -> None:
    seen = hidden(check(client, "Ada Grey", "Mo Fell"))
    assert post(client, PEOPLE, **hidden(check(client, "Mo Fell"))).status_code == 302
    late = post(client, PEOPLE, **seen)
    says = text_of(late)
    assert late.status_code == 409 and "That didn’t work. Somebody has changed something" in says
    assert not Person.objects.filter(name="Ada Grey").exists()
    assert post(client, PEOPLE, **hidden(late)).status_code == 302
    assert Person.objects.filter(name="Mo Fell").count() == 1
    assert Person.objects.filter(name="Ada Grey").exists()
