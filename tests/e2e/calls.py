"""Calls of a running server's API, as a phone or another program makes them."""

import http.client
import json
import uuid
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit


@dataclass(frozen=True)
class Answer:
    """Status and parsed body."""

    status: int
    body: Any


class Phone:
    """Calls with a token; every write has a key, drawn anew unless given."""

    def __init__(self, url: str, secret: str) -> None:
        self.host = urlsplit(url).netloc
        self.secret = secret

    def __call__(
        self, method: str, path: str, body: Any = None, key: uuid.UUID | None = None
    ) -> Answer:
        """One call on a connection of its own; raises OSError where the server is not there."""
        headers = {"Authorization": f"Bearer {self.secret}", "Content-Type": "application/json"}
        if method != "GET":
            headers["Idempotency-Key"] = str(key or uuid.uuid4())
        connection = http.client.HTTPConnection(self.host, timeout=60)
        try:
            connection.request(
                method, f"/api/v1/{path}", json.dumps({} if body is None else body), headers
            )
            response = connection.getresponse()
            content = response.read()
            return Answer(response.status, json.loads(content) if content else None)
        except http.client.HTTPException as error:
            raise ConnectionError(str(error)) from error
        finally:
            connection.close()

    def post(self, path: str, body: Any = None, key: uuid.UUID | None = None) -> Answer:
        """A write."""
        return self("POST", path, body, key)

    def get(self, path: str) -> Answer:
        """A read."""
        return self("GET", path)
