"""What phones keep for when there is no network: where it is served from, and what it may hold."""

from __future__ import annotations

import gzip

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from tests.labels import scanned

pytestmark = pytest.mark.django_db


@pytest.fixture
def school():
    return scanned.labelled()


def browser(person=None, **more):
    client = Client(**more)
    if person is not None:
        client.force_login(person.user)
    return client


# ------------------------------------------------------------------------- reading in the browser
def test_only_the_scan_page_may_run_webassembly(school):
    client = browser(school.world.keeper)

    assert "'wasm-unsafe-eval'" in client.get("/scan/")["Content-Security-Policy"]
    for path in ("/", "/kits/", "/kits/DAY-01/", "/sign-in/", "/api/v1/kits/"):
        assert "wasm" not in client.get(path)["Content-Security-Policy"], path


def test_the_reader_comes_from_our_own_host_where_npm_has_put_it(school):
    if not finders.find("reading/ponyfill.js"):
        pytest.fail("barcode-detector is missing: run npm ci")
    page = browser(school.world.guide).get("/scan/").content.decode()

    assert 'data-reader="/static/reading/"' in page
    for name in ("ponyfill.js", "zxing_reader.wasm"):
        assert browser().get(f"/static/reading/{name}").status_code == 200, name


def test_scripts_go_over_the_wire_compressed_and_pages_do_not(school):
    accepts = {"Accept-Encoding": "gzip"}
    script = browser().get("/static/site/scan.js", headers=accepts)

    assert script["Content-Encoding"] == "gzip"
    assert gzip.decompress(script.getvalue()) == browser().get("/static/site/scan.js").getvalue()
    for path in ("/scan/", "/api/v1/kits/"):
        answer = browser(school.world.keeper).get(path, headers=accepts)
        assert not answer.has_header("Content-Encoding"), path
