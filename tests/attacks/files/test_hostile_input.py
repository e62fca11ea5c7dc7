"""Texts, paths, pictures and workbooks that nobody sends by hand, through the doors that take them:
each gets an answer of ours, none a failure of the program, and none makes the server swell.

Some hundred of each here, ten thousand of each in the long form, on both engines.
"""

import io
import random
import resource
import uuid
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import quote_from_bytes

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import URLPattern, get_resolver
from django.urls.converters import IntConverter
from pytest_django import Settings

from tests.attacks.files import test_hostile_workbooks as workbooks
from tests.kits import factories as make
from tests.labels.reading import test_reading_bounds as pictures
from tests.labels.scan import scanned
from tests.site.browsing import browser

pytestmark = pytest.mark.django_db

FEW, MANY = 150, 10_000
MOST_GROWTH_KB = 250 * 1024
"""What this process may grow by over all of them; caches and the engine's pages are in it."""

PIECES = [
    "", " ", "\0", "\n", "\r\n", "\t", "\x1d", "\x1e", "\x04", "\x7f", "\x85", "\u200b", "\u202e",
    "\u2028", "\ufeff", "\ufffd", "\U0001f9f0", "e\u0308", "ß", "ﷺ", "İ", "ſ", "％", "０１２", "²",
    "]C1", "]d2", "]Q3", "]E0", "010400638133393117310500101234567", "(01)04006381333931",
    "(17)310500(10)L1", "\x1d21S-1", "01", "17", "10", "00", "8200", "9" * 4300, "-1", "1e999",
    "NaN", "0x41", "%s", "%(name)s", "%n%n", "{0}", "{{ x }}", "{% url 'x' %}", "${x}",
    "' OR 1=1--",
    '"; DROP TABLE kits_kit; --', "<script>alert(1)</script>", "&amp;", "../../etc/passwd", "..\\",
    "/", "//", "?", "#", "&", "=", ";", "HTTPS://", "https://gear.example.org/L/", "/L/", "L/",
    "https://[::1/L/", "http://x:99999999/L/K9GP5R95", "HTTPS://GEAR.EXAMPLE.ORG/L/K9GP5R95",
    "https://id.gs1.org/01/04006381333931/10/L1?17=310500", "javascript:alert(1)", "tel:1",
    "DAY-01", "DAY-03", "d1", "Wound dressing 10 × 12", "Kim", "main-store", "x" * 3000, "a" * 300,
    "\ud800", "\udfff\ud800", "１", "१२", "𝟙", "I", "null", "true", "[]", "{}",
]  # fmt: skip


def text_of(rng: random.Random, own: list[str]) -> str:
    """A text made of pieces, or a good one with something wrong in it."""
    pieces = [rng.choice(PIECES) for _ in range(rng.choice([1, 1, 2, 3, 6]))]
    text = "".join(pieces)
    if rng.random() < 0.5:
        text = rng.choice(own)
        place = rng.randrange(len(text) + 1)
        text = text[:place] + rng.choice(PIECES) + text[place + rng.randrange(3) :]
    if rng.random() < 0.1:
        text = "".join(
            chr(rng.choice([rng.randrange(128), rng.randrange(0x11_0000)])) for _ in "12345"
        )
    return text


def grown_by(run: Callable[[], None] | Callable[[], Any]) -> int:
    """How much larger this process was at its largest after a run, in kilobytes."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    run()
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before


def is_ours(answer: Any, what: tuple[int, str] | tuple[int, str, Any] | int) -> Any:
    assert answer.status_code < 500, what
    assert answer.status_code != 500
    return answer.status_code


@pytest.fixture
def w(settings: Settings) -> make.World:
    settings.PUBLIC_URL = scanned.ADDRESS
    settings.REST_FRAMEWORK = {**settings.REST_FRAMEWORK, "DEFAULT_THROTTLE_CLASSES": []}
    return make.world()


def without_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Limits of how often are not what this is about."""
    monkeypatch.setattr(
        "gearroom.core.api.requests.throttling.PerActor.allow_request", lambda *_: True
    )


# -------------------------------------------------------------------------------------- scan texts
INTENTS = ("identify", "check-out", "check-in", "receive", "count", "add", "use", "nonsense")


def feed_texts(w: make.World, number: int) -> set[Any]:
    own = ["DAY-01", "DAY-03", str(w.day_01.pk), "010400638133393117310500101234567",
           "HTTPS://GEAR.EXAMPLE.ORG/L/K9GP5R95", "K9GP-5R95"]  # fmt: skip
    call, page = make.caller(w.keeper), browser(w.keeper)
    seen = set()
    for seed in range(number):
        rng = random.Random(seed)
        text = text_of(rng, own)
        if rng.random() < 0.6:
            body: dict[str, Any] = {"intent": rng.choice(INTENTS)}
            body |= {"texts": [text, text_of(rng, own)]} if rng.random() < 0.3 else {"text": text}
            if rng.random() < 0.3:
                body["holder"] = text_of(rng, own)
            answer = call.post("scans/", body)
        elif rng.random() < 0.5:
            text = text.encode("utf-8", "replace").decode()
            fields = {
                "text": text,
                "key": str(uuid.uuid4()),
                "mode": rng.choice(["", "next", "many"]),
            }
            answer = page.post("/scan/", fields)
        else:
            answer = page.get("/scan/", {"text": text.encode("utf-8", "replace").decode()})
        seen.add(is_ours(answer, (seed, text)))
    return seen


def test_150_hostile_scan_texts_are_answered(
    w: make.World, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_limits(monkeypatch)
    seen = set()
    assert grown_by(lambda: seen.update(feed_texts(w, FEW))) < MOST_GROWTH_KB
    assert {200, 400} <= seen


@pytest.mark.long
def test_10_000_hostile_scan_texts_are_answered(
    w: make.World, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_limits(monkeypatch)
    assert grown_by(lambda: feed_texts(w, MANY)) < MOST_GROWTH_KB


# -------------------------------------------------------------------------------------------- paths
def patterns(resolver: Any = None, before: Any = "") -> Iterator[Any]:
    """Every address of the program as text with its parameters as `<name>`, and their kinds."""
    resolver = resolver or get_resolver()
    for each in resolver.url_patterns:
        route = before + str(each.pattern)
        if isinstance(each, URLPattern):
            yield route
        else:
            yield from patterns(each, route)


QUERIES = [
    "search", "text", "on", "known_by", "cursor", "page_size", "room", "trip", "through", "kit",
    "item", "order", "state", "to", "into", "x",
]  # fmt: skip
PARAMETERS = [route for route in patterns() if "<" in route]


def path_of(rng: random.Random, own: list[str]) -> Any:
    """An address of ours with hostile texts in the place of its parameters, or none of ours."""
    route = rng.choice(PARAMETERS)
    path, rest = "", route
    while "<" in rest:
        head, _, rest = rest.partition("<")
        kind, _, rest = rest.partition(">")
        path += head
        if kind.startswith("int:") and rng.random() < 0.7:
            path += rng.choice(["0", "1", "2", "9" * 19, "9" * 40, "00", "٣"])
        else:
            raw = text_of(rng, own).encode("utf-8", "surrogatepass")
            if rng.random() < 0.3:
                raw += bytes(rng.randrange(256) for _ in range(4))
            path += quote_from_bytes(raw, safe="/" if rng.random() < 0.3 else "")
    query = ""
    if rng.random() < 0.5:
        name = rng.choice(QUERIES)
        value = quote_from_bytes(text_of(rng, own).encode("utf-8", "surrogatepass"))
        query = f"?{name}={value}"
    return "/" + path + rest + query


def feed_paths(w: make.World, number: int) -> set[Any]:
    own = ["DAY-01", "main-store", "2026-05-31", "2026-05-31T08:15:00+01:00", "1", "K9GP5R95"]
    call, page = make.caller(w.keeper), browser(w.keeper)
    seen = set()
    for seed in range(number):
        rng = random.Random(seed)
        path = path_of(rng, own)
        method = rng.choice(["GET", "GET", "GET", "HEAD", "POST", "PATCH", "DELETE", "PUT"])
        if path.startswith("/api/v1/"):
            answer = call(method, path.removeprefix("/api/v1/"), None if method == "GET" else {})
        else:
            answer = page.generic("GET" if method not in ("POST", "HEAD") else method, path)
        seen.add(is_ours(answer, (seed, method, path)))
    return seen


def test_the_parameters_of_addresses_are_known() -> None:
    assert len(PARAMETERS) > 100
    assert IntConverter.regex == "[0-9]+"


def test_150_hostile_paths_are_answered(w: make.World, monkeypatch: pytest.MonkeyPatch) -> None:
    without_limits(monkeypatch)
    seen = set()
    assert grown_by(lambda: seen.update(feed_paths(w, FEW))) < MOST_GROWTH_KB
    assert {400, 404} & seen


@pytest.mark.long
def test_10_000_hostile_paths_are_answered(w: make.World, monkeypatch: pytest.MonkeyPatch) -> None:
    without_limits(monkeypatch)
    assert grown_by(lambda: feed_paths(w, MANY)) < MOST_GROWTH_KB


# ------------------------------------------------------------------------------ pictures, workbooks
def feed_pictures(w: Any, number: Any) -> set[Any]:
    files = [pictures.saved(kind) for kind in ("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF", "HEIF")]
    page = browser(w.keeper)
    call = make.caller(w.keeper)
    seen = set()
    for seed in range(number):
        rng = random.Random(seed)
        content = pictures.mutated(rng.choice(files), rng)
        file = SimpleUploadedFile("label.jpg", content)
        if rng.random() < 0.5:
            answer = call.client.post(
                "/api/v1/scans/",
                {"image": file, "budget_ms": "200"},
                headers={"authorization": f"Bearer {call.secret}"},
            )
        elif rng.random() < 0.8:
            answer = page.post("/scan/", {"image": file, "key": str(uuid.uuid4())})
        else:
            fields = {"until": "2031-01-01", "page": file, "key": str(uuid.uuid4())}
            answer = browser(w.adviser).post(f"/lists/{w.version.packing_list_id}/1/sign/", fields)
        seen.add(is_ours(answer, seed))
    return seen


def feed_workbooks(w: Any, number: Any) -> set[Any]:
    whole = workbooks.filled_in()
    page = browser(w.keeper)
    seen = set()
    for seed in range(number):
        rng = random.Random(seed)
        content = workbooks.broken(whole, rng)
        file = io.BytesIO(content)
        file.name = "start.xlsx"
        seen.add(is_ours(page.post("/first-day/workbook/", {"workbook": file}), seed))
    return seen


@pytest.mark.parametrize(
    ("feed", "number"),
    [
        (feed_pictures, 100),
        (feed_workbooks, 100),
        pytest.param(feed_pictures, MANY, marks=pytest.mark.long),
        pytest.param(feed_workbooks, MANY, marks=pytest.mark.long),
    ],
)
def test_mutated_files_are_answered(
    w: make.World, monkeypatch: pytest.MonkeyPatch, feed: Callable[[Any, Any], Any], number: int
) -> None:
    without_limits(monkeypatch)
    seen = set()
    assert grown_by(lambda: seen.update(feed(w, number))) < MOST_GROWTH_KB
    assert 200 in seen
