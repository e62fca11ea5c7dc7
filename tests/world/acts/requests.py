"""The program's doors, in process: its API and its pages, through Django's test client.

Of the program this knows addresses and the forms of answers, no module. Times are moved by
time-machine, so the program's own clock is moved too.
"""

import io
import json
import uuid
from dataclasses import dataclass
from email import message_from_bytes
from email.policy import default
from html.parser import HTMLParser
from typing import Any

import pypdfium2
from celery import current_app
from django.core import mail
from django.core.management import CommandError, call_command
from django.test import Client

from tests.present import present


@dataclass(frozen=True)
class Answer:
    """Status, code ("" where it went well), JSON body, and whether it was given before."""

    status: int
    code: str
    body: Any
    again: bool = False

    @property
    def well(self) -> bool:
        return self.status < 300 and not self.code


@dataclass(frozen=True)
class Mark:
    """What an element of a page says of a kit: through which day, for which trip (its number, or
    empty), the verdict, and the words that people see there."""

    kit: str
    through: str
    trip: str
    verdict: str
    text: str


class Doors:
    """One client of the API for everybody, and a browser for each who looks at pages."""

    def __init__(self) -> None:
        self.client = Client(raise_request_exception=False)
        self.secrets: dict[str, str] = {}
        self.passwords: dict[str, tuple[str, str]] = {}
        self.browsers: dict[str, Client] = {}

    def sign_in(self, name: str) -> None:
        """Let somebody look at pages, in a browser of their own."""
        username, password = self.passwords[name]
        browser = self.browsers.setdefault(name, Client(raise_request_exception=False))
        browser.cookies.clear()
        assert browser.login(username=username, password=password)

    def send(
        self, by: str, path: str, body: Any = None, *, method: str = "POST", key: str = ""
    ) -> Answer:
        """One call of the API; a write has a key of its own unless one is given."""
        response = self.client.generic(
            method,
            f"/api/v1/{path}",
            data="" if body is None else json.dumps(body),
            content_type="application/json",
            headers={
                "authorization": f"Bearer {self.secrets[by]}",
                **({} if method == "GET" else {"idempotency-key": key or str(uuid.uuid4())}),
            },
        )
        said = json.loads(response.content) if response.content else None
        code = present(said).get("code", "?") if response.status_code >= 400 else ""
        if path == "scans/" and response.status_code < 400:
            code, said = _scanned(said)
        return Answer(response.status_code, code, said, "idempotency-replayed" in response.headers)

    def get(self, by: str, path: str) -> Any:
        """What a reading call answers; raises AssertionError where it does not."""
        answer = self.send(by, path, method="GET")
        assert answer.well, f"GET {path}: {answer.status} {answer.body}"
        return answer.body

    def every(self, by: str, path: str) -> list[Any]:
        """All rows of a list, over its pages."""
        rows: list[Any] = []
        page = self.get(by, path + ("&" if "?" in path else "?") + "page_size=200")
        while True:
            rows += page["results"]
            if not page.get("next"):
                return rows
            page = self.get(by, page["next"].split("/api/v1/")[1])

    def page(self, by: str, path: str) -> tuple[int, str]:
        """A page as somebody signed in sees it."""
        response = self.browsers[by].get(path)
        return response.status_code, response.content.decode()

    def words_of_pdf(self, by: str, path: str) -> tuple[int, str]:
        """The words on a paper that the API makes, in one line; "" where it makes none."""
        headers = {"authorization": f"Bearer {self.secrets[by]}"}
        response = self.client.get(f"/api/v1/{path}", headers=headers)
        if response.status_code != 200:
            return response.status_code, ""
        sheet = pypdfium2.PdfDocument(
            b"".join(response) if response.streaming else response.content
        )
        return 200, " ".join(" ".join(p.get_textpage().get_text_bounded() for p in sheet).split())

    @staticmethod
    def task(name: str) -> None:
        """What the program does by itself every minute or so."""
        current_app.loader.import_default_modules()
        current_app.tasks[f"kits.tasks.notices.{name}"]()

    @staticmethod
    def letters() -> list[tuple[str, str, str, str]]:
        """The mails that went out since this was asked last: to whom, subject, text, Message-ID."""
        read = [message_from_bytes(m.message().as_bytes(), policy=default) for m in mail.outbox]
        sent = [(str(m["To"]), str(m["Subject"]), _plain(m), str(m["Message-ID"])) for m in read]
        mail.outbox.clear()
        return sent

    @staticmethod
    def command(name: str, *arguments: str) -> tuple[int, str]:
        """A management command: its exit status, and what it printed."""
        out = io.StringIO()
        try:
            call_command(name, *arguments, stdout=out)
        except CommandError as error:
            return 1, f"{out.getvalue()}{error}"
        return 0, out.getvalue()


def _plain(letter: Any) -> str:
    return str(letter.get_body(("plain",)).get_content())


def _scanned(said: Any) -> tuple[str, Any]:
    """What came of the kit of a scan: its problem's code, or the entry that was written."""
    of_kit = next(each for each in said["outcomes"] if each["means"] == "kit")
    written = of_kit["outcome"] in ("taken-out", "handed-back")
    return "" if written else of_kit["outcome"], of_kit


class _Marks(HTMLParser):
    _VOID = frozenset({"br", "hr", "img", "input", "meta", "link", "use", "path", "source", "wbr"})

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[dict[str, str], list[str]]] = []
        self._open: list[tuple[str, list[str] | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = {name: value or "" for name, value in attrs}
        words: list[str] | None = None
        if "data-verdict" in named:
            words = []
            self.found.append((named, words))
        if tag not in self._VOID:
            self._open.append((tag, words))

    def handle_endtag(self, tag: str) -> None:
        if any(name == tag for name, _ in self._open):
            while self._open.pop()[0] != tag:
                pass

    def handle_data(self, data: str) -> None:
        for _, words in self._open:
            if words is not None:
                words.append(data)


def marks(page: str) -> list[Mark]:
    """What a page says of kits."""
    reader = _Marks()
    reader.feed(page)
    return [
        Mark(
            named.get("data-kit", ""),
            named.get("data-through", ""),
            named.get("data-trip", ""),
            named["data-verdict"],
            " ".join("".join(words).split()),
        )
        for named, words in reader.found
    ]
