"""A link that opens something without a sign-in is in no log, and a browser tells it to nobody."""

import logging
import re
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.cache import cache
from django.test import Client
from django.urls import URLResolver, get_resolver
from django.urls.resolvers import URLPattern

from gearroom.core.setup import logs
from tests.program import Server

SECRET = "ABCdef:1vXyZ0:s3cr3t-S1gn4ture_0123456789"
PUBLIC = {"kit", "code", "room", "source", "reference", "number", "key", "role"}
PUBLIC |= {"need", "activity", "table"}
"""Texts in addresses that are names of things, and open nothing without a sign-in."""


def _routes(patterns: list[URLPattern | URLResolver], before: Any = "") -> Iterator[Any]:
    for pattern in patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _routes(pattern.url_patterns, route)
        else:
            yield route


def _paths(secret: str = SECRET) -> list[str]:
    """Every address that has a secret in it."""
    found = []
    for route in _routes(get_resolver().url_patterns):
        texts = re.findall(r"<(?:str|slug|path|uuid):(\w+)>", route)
        texts += re.findall(r"\(\?P<(\w+)>", route)
        if set(texts) - PUBLIC and not route.startswith(("static", "problems/")):
            path = re.sub(r"<int:\w+>", "1", route)
            found.append("/" + re.sub(r"<\w+:\w+>", secret, path))
    return found


def test_every_address_with_a_text_that_is_no_name_is_masked_in_logs() -> None:
    paths = _paths()
    assert len(paths) >= 6, paths
    for path in paths:
        assert logs.is_secret(path), path
        for shown in (path, urllib.parse.quote(path), urllib.parse.quote(path, safe="")):
            line = logs.masked(f'"GET {shown}?a=1 HTTP/1.1" 404 "https://gear.example{shown}"')
            assert "s3cr3t" not in line and line.count(logs.MASK) == 2
            assert "404" in line and line.count("HTTP/1.1") == 1


def test_other_addresses_are_logged_whole() -> None:
    for path in (
        "/kits/DAY-01/used/",
        "/lists/1/2/sign/",
        "/stock/?text=used",
        "/sign-in/",
        "/used/",
    ):
        assert logs.masked(f"GET {path} HTTP/1.1") == f"GET {path} HTTP/1.1"


@pytest.mark.django_db
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_browser_tells_it_to_nobody_and_keeps_it_nowhere(engine: str) -> None:
    cache.clear()
    for path in _paths():
        answer = Client().get(path)
        assert answer["Referrer-Policy"] == "strict-origin", path
        assert answer["Cache-Control"] == "private, no-store", path
    assert Client().get("/sign-in/")["Referrer-Policy"] == "same-origin"


@pytest.mark.django_db
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_form_on_such_a_page_is_taken_from_a_browser(engine: str) -> None:
    """A browser sends Origin: null from a page with no-referrer, and Django refuses that."""
    cache.clear()
    client = Client(enforce_csrf_checks=True)
    client.get("/sign-in/forgotten/")
    said = {"csrfmiddlewaretoken": client.cookies["csrftoken"].value, "new": "x"}
    path = f"/sign-in/new/MQ/{SECRET}/"
    origin = {"origin": "http://testserver"}
    assert client.post(path, said, headers=origin).status_code == 404
    assert client.post(path, said, headers={"origin": "null"}).status_code == 403


def test_a_traceback_is_masked_too(caplog: pytest.LogCaptureFixture) -> None:
    formatter = logs.Masked("%(message)s")
    try:
        raise ValueError(f"/used/{SECRET}/ went wrong")
    except ValueError:
        logging.getLogger("some").exception("while at %s", f"https://gear.example/used/{SECRET}/")
    (record,) = caplog.records
    line = formatter.format(record)
    assert "Traceback" in line and "s3cr3t" not in line and line.count(logs.MASK) >= 2


def test_every_handler_of_ours_masks() -> None:
    logging: dict[str, Any] = settings.LOGGING
    assert {h["formatter"] for h in logging["handlers"].values()} == {"line"}
    assert logging["formatters"]["line"]["()"] == "gearroom.core.setup.logs.Masked"


@pytest.mark.server
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_real_server_logs_none_of_it(make_server: Callable[..., Server], tmp_path: Path) -> None:
    access = tmp_path / "access.log"
    server = make_server(GUNICORN_CMD_ARGS=f"--access-logfile={access}").start()
    for path in _paths():
        address = server.url + path
        for body, referrer in ((None, address), (b"new=1", address)):
            request = urllib.request.Request(
                address, body, {"Referer": referrer, "User-Agent": f"sees {referrer}"}
            )
            with pytest.raises(urllib.error.HTTPError) as caught:
                urllib.request.urlopen(request, timeout=30)
            assert caught.value.code in (403, 404, 405, 409, 410), (path, caught.value.code)
        server.get(f"/sign-in/?next={urllib.parse.quote(path, safe='')}")
        server.get(f"/api/v1/nothing/?of={path}")
    server.stop()
    texts = [file.read_text() for file in (server.log, access)]
    assert all("s3cr3t" not in text for text in texts), [t for t in texts if "s3cr3t" in t]
    assert all(text.count(logs.MASK) >= len(_paths()) for text in texts), texts
