"""Connections to other programs: only to addresses that were judged, and only for so long.

`httpcore` opens every connection through a `GuardedNetwork`. A name is resolved once for each; the
very numbers that were judged are connected to, so what the name stands for a moment later is of no
matter. TLS still checks the name. Every step of a request, whatever the other side does, is
counted against one time that was set for all of it.
"""

import queue
import select
import socket
import ssl
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from ipaddress import IPv4Address, IPv6Address, ip_address
from time import monotonic
from typing import Any

import httpcore

from gearroom.core.outbound.failures import Failure, OutboundError
from gearroom.core.rules.public_addresses import AllowedInside
from gearroom.core.rules.web_addresses import WebAddress

CONNECT_SECONDS = 10.0
"""How long one of several addresses of a host may take to answer."""


class GuardedNetwork(httpcore.NetworkBackend):
    """What is between `httpcore` and the network, for one request at a time: `begin` it first."""

    def __init__(self, allowed: AllowedInside) -> None:
        self._allowed = allowed
        self._until = 0.0

    def begin(self, seconds: float) -> None:
        """Have all that follows end within so many seconds from now."""
        self._until = monotonic() + seconds

    def remaining(self) -> float:
        """Seconds that are left. Raises OutboundError once there are none."""
        if (left := self._until - monotonic()) <= 0:
            raise OutboundError(Failure.TOO_SLOW)
        return left

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        """Connect to a host where every address of it may be connected to."""
        to = WebAddress(host.strip("[]"), port, "/")
        addresses = self._judged(to)
        for number, address in enumerate(addresses, start=1):
            seconds = min(self.remaining(), CONNECT_SECONDS)
            try:
                connection = socket.create_connection((str(address), port), timeout=seconds)
                peer = ip_address(connection.getpeername()[0])
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            except OSError:
                if number == len(addresses):
                    raise OutboundError(Failure.NO_CONNECTION) from None
                continue
            if not self._allowed.connection(to, peer):
                connection.close()
                raise OutboundError(Failure.NOT_PUBLIC)
            return TimedStream(connection, self)
        raise OutboundError(Failure.UNKNOWN_NAME)

    def _judged(self, to: WebAddress) -> Sequence[IPv4Address | IPv6Address]:
        """The addresses of a host. Raises OutboundError where one of them is not allowed."""
        if not self._allowed.port(to):
            raise OutboundError(Failure.PORT)
        literal = to.literal
        addresses = [literal] if literal else _resolved(to, self.remaining())
        if not all(self._allowed.connection(to, address) for address in addresses):
            raise OutboundError(Failure.NOT_PUBLIC)
        return addresses


class TimedStream(httpcore.NetworkStream):
    """A connection whose every wait ends when the time of its request does."""

    def __init__(self, connection: socket.socket, network: GuardedNetwork) -> None:
        self._connection = connection
        self._network = network

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        """Up to so many bytes; none at the end."""
        self._connection.settimeout(self._network.remaining())
        with _failing_as(Failure.NO_ANSWER):
            return self._connection.recv(max_bytes)

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        """Send all of it."""
        self._connection.settimeout(self._network.remaining())
        with _failing_as(Failure.NO_ANSWER):
            self._connection.sendall(buffer)  # its time is for all of it

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        """The connection with TLS, by a certificate of the host's name."""
        self._connection.settimeout(self._network.remaining())
        name = (server_hostname or "").strip("[]")
        try:
            with _failing_as(Failure.NO_CONNECTION):
                secured = ssl_context.wrap_socket(self._connection, server_hostname=name)
        except BaseException:
            self.close()
            raise
        return TimedStream(secured, self._network)

    def get_extra_info(self, info: str) -> Any:
        """Whether something can be read, as `httpcore` asks before it uses a connection again."""
        if info == "is_readable":
            return _is_readable(self._connection)
        return None


@contextmanager
def _failing_as(otherwise: Failure) -> Iterator[None]:
    """Failures of a socket as ours."""
    try:
        yield
    except TimeoutError:
        raise OutboundError(Failure.TOO_SLOW) from None
    except ssl.SSLCertVerificationError:
        raise OutboundError(Failure.CERTIFICATE) from None
    except OSError:
        raise OutboundError(otherwise) from None


def _is_readable(connection: socket.socket) -> bool:
    poll = select.poll()
    poll.register(connection, select.POLLIN)
    return bool(poll.poll(0))


def _resolved(to: WebAddress, seconds: float) -> Sequence[IPv4Address | IPv6Address]:
    """The addresses that a name stands for now, in the order in which to try them.

    The system's resolver takes no time limit: it is asked in a thread, which is left to itself once
    the time is over.
    """
    answers: queue.SimpleQueue[list[Any] | OSError | UnicodeError] = queue.SimpleQueue()

    def ask() -> None:
        try:
            answers.put(socket.getaddrinfo(to.host, to.port, type=socket.SOCK_STREAM))
        except (OSError, UnicodeError) as error:
            answers.put(error)

    threading.Thread(target=ask, name="resolver", daemon=True).start()
    try:
        answer = answers.get(timeout=seconds)
    except queue.Empty:
        raise OutboundError(Failure.TOO_SLOW) from None
    if isinstance(answer, Exception):
        raise OutboundError(Failure.UNKNOWN_NAME) from answer
    return list(dict.fromkeys(ip_address(row[4][0]) for row in answer))
