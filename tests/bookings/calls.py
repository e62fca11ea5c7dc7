"""Calls of the gear room's API, one after the other on one connection."""

import http.client
import json
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

LATER = (429, 500, 502, 503, 504, 507)
"""Nothing was done, or nobody knows: the same request is sent again with the same key."""


class NotNow(Exception):
    """Nobody answered, or the answer was to come again later; `seconds` where it said when."""

    def __init__(self, why: str, seconds: float = 0) -> None:
        super().__init__(why)
        self.seconds = seconds


@dataclass(frozen=True)
class Answer:
    """A final answer. `replayed`: it was given before, to the same key."""

    status: int
    body: Any
    replayed: bool = False

    @property
    def code(self) -> str:
        """What kind of problem it is; empty where it is none."""
        return "" if self.status < 400 else str(self.body.get("code", ""))


class Gearroom:
    """The API at an address, for whoever has the token."""

    def __init__(self, url: str, token: str) -> None:
        self.connection = http.client.HTTPConnection(urlsplit(url).netloc, timeout=30)
        self.headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def call(self, method: str, path: str, body: Any = None, key: str = "") -> Answer:
        """One call; raises NotNow where it has to be made again."""
        headers = {**self.headers, "Idempotency-Key": key} if key else self.headers
        content = None if body is None else json.dumps(body)
        try:
            self.connection.request(method, f"/api/v1/{path}", content, headers)
            response = self.connection.getresponse()
            text = response.read()
        except (OSError, http.client.HTTPException) as error:
            with suppress(OSError):
                self.connection.close()
            raise NotNow(f"{type(error).__name__}: {error}") from error
        answer = Answer(
            response.status,
            json.loads(text) if text else None,
            response.getheader("Idempotency-Replayed") == "true",
        )
        if answer.status in LATER or answer.code == "in-flight":
            raise NotNow(text.decode(), float(response.getheader("Retry-After") or 0))
        return answer

    def get(self, path: str) -> Any:
        """What stands there; raises LookupError with the problem where nothing does."""
        answer = self.call("GET", path)
        if answer.status != 200:
            raise LookupError(f"{path}: {answer.status} {answer.body}")
        return answer.body

    def rows(self, path: str) -> Iterator[Any]:
        """The rows of all pages of a list."""
        page = f"{path}{'&' if '?' in path else '?'}page_size=200"
        while page:
            answer = self.get(page)
            yield from answer["results"]
            page = (answer["next"] or "").partition("/api/v1/")[2]
