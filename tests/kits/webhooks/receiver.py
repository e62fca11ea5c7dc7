"""A small program that events are sent to, run by
`python -m tests.kits.webhooks.receiver PEM PORT FOLDER`.

It knows nothing of ours but the Standard Webhooks specification. Every request has to be signed by
a secret in FOLDER/secrets, one a line; what it accepts it writes down in FOLDER/book, a line each,
before it answers, so that it can be killed at any moment.
"""

import json
import os
import ssl
import sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from standardwebhooks import Webhook, WebhookVerificationError


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    folder: Path

    def do_POST(self) -> None:
        """Take an event that is signed, refuse any other."""
        body = self.rfile.read(int(self.headers["content-length"]))
        content = self._verified(body)
        if content is not None:
            line = {"id": self.headers["webhook-id"], **content}
            with (self.folder / "book").open("a") as book:
                book.write(json.dumps(line) + "\n")
                book.flush()
                os.fsync(book.fileno())
        self.send_response(400 if content is None else 204)
        self.send_header("content-length", "0")
        self.end_headers()

    def _verified(self, body: bytes) -> dict[str, Any] | None:
        for secret in (self.folder / "secrets").read_text().split():
            try:
                content = Webhook(secret).verify(body, dict(self.headers))
            except WebhookVerificationError:
                continue
            return dict(content)
        return None

    def log_message(self, format: str, *args: Any) -> None:
        """What it accepts is in its book."""


def main() -> None:
    """Serve until killed."""
    pem, port, folder = sys.argv[1:]
    _Handler.folder = Path(folder)
    server = ThreadingHTTPServer(("127.0.0.1", int(port)), _Handler)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(pem)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    print("ready", flush=True)
    server.serve_forever()


if __name__ == "__main__":
    main()
