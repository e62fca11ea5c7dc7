"""Requests to other programs at addresses that people typed: HTTPS alone, to public addresses and
those that GEARROOM_INTERNAL_HOSTS allows, bounded in time and size, by no proxy.

`send` follows no redirect; `fetch` follows few, each under the same rules. Authorities for
certificates are those of the system (or SSL_CERT_FILE) and of `certifi`.
"""

import os
import ssl
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import TracebackType
from typing import Self
from urllib.parse import urljoin

import certifi
import httpcore
from django.conf import settings

from gearroom.core.outbound.failures import Failure, OutboundError
from gearroom.core.outbound.network import GuardedNetwork
from gearroom.core.rules.web_addresses import WebAddress, WrongAddress, web_address

SEND_SECONDS = 20.0
FETCH_SECONDS = 30.0
MAX_SENT_ANSWER = 64 * 1024
"""Bytes of an answer to what was sent; of a longer one the rest is not read."""
MAX_FETCHED = 10 * 1024 * 1024
MAX_REDIRECTS = 3

_REDIRECTS = (301, 302, 303, 307, 308)
_USER_AGENT = "Gearroom"


@dataclass(frozen=True)
class Answer:
    """What a server answered: status, headers by names in lower case, the content."""

    status: int
    headers: Mapping[str, str]
    content: bytes


def checked(address: str) -> WebAddress:
    """An address as it is typed, checked as far as that goes without the network. Raises
    OutboundError."""
    try:
        to = web_address(address)
    except WrongAddress as error:
        raise OutboundError(Failure(error.why)) from None
    allowed = settings.INTERNAL_HOSTS
    if not allowed.port(to):
        raise OutboundError(Failure.PORT)
    if (literal := to.literal) and not allowed.connection(to, literal):
        raise OutboundError(Failure.NOT_PUBLIC)
    return to


class Client:
    """Requests one after another, over connections that are kept while they last: not for several
    threads at once. Use it in a `with`."""

    def __init__(self) -> None:
        self._network = GuardedNetwork(settings.INTERNAL_HOSTS)
        self._pool: httpcore.ConnectionPool | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is not None:
            self._pool.close()

    def send(
        self,
        address: str,
        content: bytes,
        headers: Mapping[str, str],
        *,
        seconds: float = SEND_SECONDS,
    ) -> Answer:
        """POST a content; what was answered, whatever its status. Raises OutboundError."""
        to = checked(address)
        self._network.begin(seconds)
        return self._answer("POST", to, headers, content, at_most=MAX_SENT_ANSWER)

    def fetch(
        self,
        address: str,
        headers: Mapping[str, str] | None = None,
        *,
        seconds: float = FETCH_SECONDS,
        at_most: int = MAX_FETCHED,
    ) -> Answer:
        """GET a content of at most so many bytes, which may come compressed. Raises OutboundError.

        `headers` go to the host of the address alone.
        """
        first = to = checked(address)
        self._network.begin(seconds)
        for _hop in range(MAX_REDIRECTS + 1):
            own = dict(headers or {}) if to.authority == first.authority else {}
            answer = self._answer(
                "GET", to, {**own, "accept-encoding": "gzip"}, None, at_most=at_most + 1
            )
            location = answer.headers.get("location")
            if answer.status not in _REDIRECTS or location is None:
                return _unpacked(answer, at_most)
            to = checked(_absolute(to, location))
        raise OutboundError(Failure.TOO_MANY_REDIRECTS)

    def _answer(
        self,
        method: str,
        to: WebAddress,
        headers: Mapping[str, str],
        content: bytes | None,
        *,
        at_most: int,
    ) -> Answer:
        """What a server answers, of its content at most so many bytes."""
        if self._pool is None:
            self._pool = httpcore.ConnectionPool(
                ssl_context=_authorities(os.environ.get("SSL_CERT_FILE", "")),
                network_backend=self._network,
                max_connections=1,
                keepalive_expiry=30.0,
            )
        sent = {"host": to.authority, "user-agent": _USER_AGENT, **headers}
        if content is not None:
            sent["content-length"] = str(len(content))
        try:
            with self._pool.stream(
                method, str(to), headers=_in_bytes(sent), content=content
            ) as response:
                parts = _first(response.iter_stream(), at_most)
                answered = {
                    name.decode("latin-1").lower(): value.decode("latin-1")
                    for name, value in response.headers
                }
                return Answer(response.status, answered, parts)
        except (httpcore.ProtocolError, httpcore.NetworkError, httpcore.UnsupportedProtocol):
            raise OutboundError(Failure.NO_ANSWER) from None


@cache
def _authorities(file: str) -> ssl.SSLContext:
    """What vouches for servers: read once, since that takes a tenth of a second. `file` is of
    SSL_CERT_FILE, which OpenSSL reads itself."""
    context = ssl.create_default_context()
    context.load_verify_locations(certifi.where())
    return context


def _absolute(base: WebAddress, location: str) -> str:
    """Where a redirect leads. Raises OutboundError."""
    try:
        return urljoin(str(base), location)
    except ValueError:
        raise OutboundError(Failure.NOT_AN_ADDRESS) from None


def _in_bytes(headers: Mapping[str, str]) -> list[tuple[bytes, bytes]]:
    """Headers as they are sent: what a server named a version is any bytes (RFC 9110, 5.5)."""
    return [(name.encode("ascii"), value.encode("latin-1")) for name, value in headers.items()]


def _first(parts: Iterator[bytes], at_most: int) -> bytes:
    """The first bytes of a stream; the rest is not waited for."""
    content = bytearray()
    for part in parts:
        content += part
        if len(content) >= at_most:
            break
    return bytes(content[:at_most])


def _unpacked(answer: Answer, at_most: int) -> Answer:
    """An answer with its content as it was before it was compressed, of at most so many bytes."""
    content = answer.content
    if len(content) > at_most:
        raise OutboundError(Failure.TOO_LARGE)
    match answer.headers.get("content-encoding", "").strip().lower():
        case "" | "identity":
            return answer
        case "gzip":
            unpacking = zlib.decompressobj(wbits=31)  # gzip alone
            try:
                unpacked = unpacking.decompress(content, at_most + 1)
            except zlib.error:
                raise OutboundError(Failure.NO_ANSWER) from None
            if len(unpacked) > at_most:
                raise OutboundError(Failure.TOO_LARGE)
            if not unpacking.eof or unpacking.unused_data:
                raise OutboundError(Failure.NO_ANSWER)
            return replace(answer, content=unpacked)
        case _:
            raise OutboundError(Failure.NO_ANSWER)
