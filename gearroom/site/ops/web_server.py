"""What we set of gunicorn: its log without secret addresses, and its refusals of requests that it
cannot read, which never reach Django, as problems like ours (RFC 9457) instead of HTML.

    gunicorn --worker-class=gearroom.site.ops.web_server.Worker \
        --logger-class=gearroom.site.ops.web_server.Log gearroom.wsgi
"""

import json
import logging
from contextlib import suppress
from http import HTTPStatus
from typing import Any

from gunicorn.glogging import Logger
from gunicorn.workers.gthread import ThreadWorker

from gearroom.core.problem_codes import KINDS
from gearroom.core.setup.logs import Masked

_CODES = {414: "address-too-long", 431: "headers-too-long", 500: "internal-error"}


class Log(Logger):  # type: ignore[misc]  # gunicorn has no types
    """gunicorn's log, wherever it goes, masked."""

    def setup(self, cfg: Any) -> None:
        """Set it up, as often as the configuration is read."""
        super().setup(cfg)
        for log in (self.error_log, self.access_log):
            for handler in log.handlers:
                plain = handler.formatter or logging.Formatter()
                handler.setFormatter(Masked(plain._fmt, plain.datefmt))


class Worker(ThreadWorker):  # type: ignore[misc]  # gunicorn has no types
    """A worker with threads whose refusals are ours."""

    def handle_error(self, req: Any, client: Any, addr: Any, exc: Any) -> None:
        """Answer a request that could not be read, with the status that gunicorn gives it."""
        caught = _Caught()
        super().handle_error(req, caught, addr, exc)
        with suppress(ValueError, IndexError, OSError):
            client.sendall(answer(int(caught.sent.split(b" ", 2)[1])))


class _Caught:
    """Takes what gunicorn would send."""

    def __init__(self) -> None:
        self.sent = b""

    def gettimeout(self) -> float:
        """It never waits."""
        return 0.0

    def sendall(self, content: bytes) -> None:
        """Keep it."""
        self.sent += content


def answer(status: int) -> bytes:
    """The whole HTTP answer to a request that could not be read."""
    code = _CODES.get(status, "malformed-request")
    kind = KINDS[code]
    body = json.dumps(
        {
            "type": f"/problems/{code}/",
            "title": kind.title,
            "status": kind.status,
            "detail": kind.what_to_do,
            "code": code,
        },
        ensure_ascii=False,
    ).encode()
    head = (
        f"HTTP/1.1 {kind.status} {HTTPStatus(kind.status).phrase}\r\n"
        "Connection: close\r\n"
        "Content-Type: application/problem+json\r\n"
        "X-Content-Type-Options: nosniff\r\n"
        "Cache-Control: no-store\r\n"
        f"Content-Length: {len(body)}\r\n"
        "\r\n"
    )
    return head.encode("ascii") + body
