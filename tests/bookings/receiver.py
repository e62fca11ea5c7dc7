"""Where the gear room's webhooks come in: over HTTPS, each signed as the Standard Webhooks
specification says. An event is kept before it is accepted, and once, however often it comes."""

import ssl
import threading
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from standardwebhooks import Webhook, WebhookVerificationError

from tests.bookings.book import Book

ANSWER_LOST = 199
"""Of the first times that events come, one in so many is kept, but its answer gets lost."""


def verified(
    content: bytes, headers: dict[str, str], secrets: list[tuple[int, str]]
) -> tuple[Any, int]:
    """What was sent, and the number of the secret that signed it; None and 0 where none did, or
    long ago."""
    for number, secret in secrets:
        with suppress(WebhookVerificationError):
            return Webhook(secret).verify(content, headers), number
    return None, 0


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    file: Path

    def setup(self) -> None:
        super().setup()
        self.book = Book(self.file)

    def finish(self) -> None:
        self.book.database.close()
        super().finish()

    def do_POST(self) -> None:
        content = self.rfile.read(int(self.headers["Content-Length"]))
        headers = {name.lower(): value for name, value in self.headers.items()}
        event, secret = verified(content, headers, self.book.secrets())
        if event is None or event["id"] != headers["webhook-id"]:
            self.book.refuse(headers.get("webhook-id", ""))
            self._answer(401)
        elif self.book.receive(event, secret) == 1 and self._loses_answer(event["id"]):
            self.close_connection = True
        else:
            self._answer(204)

    def _loses_answer(self, event: str) -> bool:
        number = self.book.one("select number from event where id = ?", event)
        return bool(number % ANSWER_LOST == 0)

    def _answer(self, status: int) -> None:
        self.send_response(status)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_arguments: Any) -> None:
        """What came is in the book."""


def start(port: int, certificate: Path, file: Path) -> None:
    """Receive in a thread of its own. `certificate` has the key too; `file` is the book's."""
    server = ThreadingHTTPServer(("127.0.0.1", port), type("Handler", (_Handler,), {"file": file}))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    server.socket = context.wrap_socket(
        server.socket, server_side=True, do_handshake_on_connect=False
    )  # whoever connects and says nothing holds up nobody
    threading.Thread(target=server.serve_forever, daemon=True).start()
