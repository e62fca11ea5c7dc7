"""The pages and the API in threads of the test's own process, over the database that is open here:
no worker, no scheduler, and nothing is loaded twice. What the program is as processes of its own is
tests/program.py.
"""

import socket
import threading
from contextlib import suppress
from typing import Any, Self

from django.core.handlers.wsgi import WSGIHandler
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler

from tests import keeper


class _Handler(WSGIRequestHandler):
    """Answers requests, and prints nothing."""

    def log_message(self, format: str, *args: Any) -> None:
        """Faults are in the log of the program."""


class _Listener(ThreadedWSGIServer):
    """Takes connections and remembers those that are open."""

    request_queue_size = 128

    def __init__(self, port: int) -> None:
        self.open: set[socket.socket] = set()
        super().__init__(("127.0.0.1", port), _Handler)

    def get_request(self) -> Any:
        """The next connection."""
        connection, address = super().get_request()
        self.open.add(connection)
        return connection, address

    def close_request(self, request: Any) -> None:
        """One has ended, and with it what its thread had open of the database."""
        self.open.discard(request)
        super().close_request(request)


class Web:
    """A web server, on the same free port whenever it is started.

    url   its address, for example http://127.0.0.1:41234
    """

    def __init__(self) -> None:
        self.port = keeper.free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._application = WSGIHandler()
        self._listener: _Listener | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> Self:
        """Answer from now on."""
        self._listener = _Listener(self.port)
        self._listener.set_app(self._application)
        self._thread = threading.Thread(
            target=self._listener.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True
        )
        self._thread.start()
        return self

    def kill(self) -> None:
        """Answer no more, not even on a connection that is open."""
        if self._listener is None or self._thread is None:
            return
        self._listener.shutdown()
        self._thread.join()
        self._listener.server_close()
        for connection in list(self._listener.open):
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        self._listener = self._thread = None
