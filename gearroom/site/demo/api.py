"""A client of the HTTP API, as any other program would write one: a token, a key for each write."""

import json
import urllib.error
import urllib.request
import uuid
from typing import Any


class CallFailed(Exception):
    """An answer that was not wanted."""

    def __init__(self, method: str, path: str, status: int, problem: Any) -> None:
        detail = problem.get("detail", problem) if isinstance(problem, dict) else problem
        super().__init__(f"{method} {path} answered {status}: {detail}")


class Api:
    """Calls below /api/v1/ at an address. Answers are parsed JSON, or bytes of a file."""

    def __init__(self, address: str, token: str) -> None:
        self.address = address
        self.token = token

    def get(self, path: str) -> Any:
        """Read."""
        return self._call("GET", path, None, "")

    def post(self, path: str, body: dict[str, Any] | None = None) -> Any:
        """Write, once, under a new key."""
        return self._call("POST", path, json.dumps(body or {}).encode(), "application/json")

    def post_picture(self, path: str, jpeg: bytes, **fields: Any) -> Any:
        """Write with a picture, as multipart/form-data (RFC 7578)."""
        boundary = uuid.uuid4().hex
        sentence = 'Content-Disposition: form-data; name="{}"'
        parts = [(sentence.format(name), str(value).encode()) for name, value in fields.items()]
        file = sentence.format("image") + '; filename="photo.jpg"\r\nContent-Type: image/jpeg'
        body = b"".join(
            f"--{boundary}\r\n{head}\r\n\r\n".encode() + content + b"\r\n"
            for head, content in [*parts, (file, jpeg)]
        )
        body += f"--{boundary}--\r\n".encode()
        return self._call("POST", path, body, f"multipart/form-data; boundary={boundary}")

    def _call(self, method: str, path: str, body: bytes | None, kind: str) -> Any:
        headers = {"Authorization": f"Bearer {self.token}"}
        if body is not None:
            headers |= {"Content-Type": kind, "Idempotency-Key": str(uuid.uuid4())}
        request = urllib.request.Request(
            f"{self.address}/api/v1/{path}", data=body, headers=headers, method=method
        )
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                content = answer.read()
                kind = answer.headers.get_content_type()
        except urllib.error.HTTPError as error:
            content = error.read()
            problem = json.loads(content) if b"{" in content[:1] else content.decode()
            raise CallFailed(method, path, error.code, problem) from error
        return json.loads(content) if kind == "application/json" else content
