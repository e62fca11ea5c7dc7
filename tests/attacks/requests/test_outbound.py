"""Addresses that try to have the program connect where it must not, or longer than it may."""

import errno
import gzip
import socket
import ssl
import threading
import zlib
from collections.abc import Callable, Iterator
from ipaddress import ip_network
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from gearroom.core.outbound import Client, Failure, OutboundError, checked
from gearroom.core.rules.public_addresses import AllowedInside, allowed_inside
from tests.https_server import HttpsServer, Reply, answer, certificate

Serve = Callable[..., HttpsServer]
Names = dict[str, list[str]]


@pytest.fixture
def serve(session_folder: Path, monkeypatch: pytest.MonkeyPatch, settings: Any) -> Iterator[Serve]:
    """serve(reply…): a server whose port is allowed, and 127.0.0.1 and ::1 as addresses."""
    authority, pem = certificate(session_folder)
    monkeypatch.setenv("SSL_CERT_FILE", str(authority))
    made: list[HttpsServer] = []

    def start(*replies: Reply, **options: Any) -> HttpsServer:
        made.append(HttpsServer(pem, *replies, **options))
        ports = frozenset({443, *(each.port for each in made)})
        inside = (ip_network("127.0.0.1"), ip_network("::1"))
        settings.INTERNAL_HOSTS = AllowedInside(networks=inside, ports=ports)
        return made[-1]

    yield start
    for server in made:
        server.close()


@pytest.fixture
def names(monkeypatch: pytest.MonkeyPatch) -> Names:
    """What names stand for, one answer after another, the last for ever; the system's resolver
    answers for all others."""
    known: Names = {}
    system = socket.getaddrinfo

    def resolve(host: Any, port: Any, *rest: Any, **more: Any) -> Any:
        if host in known:
            host = known[host].pop(0) if len(known[host]) > 1 else known[host][0]
        return [row for each in host.split() for row in system(each, port, *rest, **more)]

    monkeypatch.setattr(socket, "getaddrinfo", resolve)
    return known


def failure(address: str, *, fetch: bool = False, **options: Any) -> Failure:
    """Why nothing comes of a request."""
    with pytest.raises(OutboundError) as error, Client() as client:
        client.fetch(address, **options) if fetch else client.send(address, b"{}", {}, **options)
    return error.value.failure


# ------------------------------------------------------------------------------ where it may go
@pytest.mark.parametrize(
    "where",
    [
        "127.0.0.1",
        "::1",
        "169.254.169.254",
        "10.1.2.3",
        "100.64.0.1",
        "fd00::1",
        "0.0.0.0",
        "::ffff:127.0.0.1",
        "8.8.8.8 10.1.2.3",
    ],
)
def test_a_name_that_leads_inside_is_not_connected_to(
    where: str, names: Names, monkeypatch: pytest.MonkeyPatch
) -> None:
    names["booking.example.org"] = [where]
    monkeypatch.setattr(socket, "create_connection", pytest.fail)
    for address in ("https://booking.example.org/", "https://booking.example.org./"):
        assert failure(address) == Failure.NOT_PUBLIC


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "[::1]", "[::ffff:7f00:1]"])
def test_the_machine_itself_is_not_connected_to(host: str) -> None:
    assert failure(f"https://{host}/") == Failure.NOT_PUBLIC


def test_only_the_port_of_https_is_used() -> None:
    with pytest.raises(OutboundError) as error:
        checked("https://booking.example.org:22/")
    assert error.value.failure == Failure.PORT


def test_a_name_that_changes_after_it_was_judged_changes_nothing(
    serve: Serve, names: Names
) -> None:
    server = serve()
    other = serve(address="127.0.0.2", port=server.port)
    names["booking.example.org"] = ["127.0.0.1", "127.0.0.2"]
    address = f"https://booking.example.org:{server.port}/"
    with Client() as client:
        assert client.send(address, b"{}", {}).status == 200
        assert client.send(address, b"{}", {}).status == 200
    assert names["booking.example.org"] == ["127.0.0.2"], "the name was resolved more than once"
    assert server.connections == 1 and b"host: booking.example.org:" in server.requests[0]
    assert failure(address) == Failure.NOT_PUBLIC
    assert other.connections == 0


def test_a_host_that_the_operator_names_is_reached(
    serve: Serve, names: Names, settings: Any
) -> None:
    server = serve(address="127.0.0.2")
    names["booking.example.org"] = ["127.0.0.2"]
    address = f"https://booking.example.org:{server.port}/"
    assert failure(address) == Failure.NOT_PUBLIC
    settings.INTERNAL_HOSTS = allowed_inside([f"booking.example.org:{server.port}"])
    with Client() as client:
        assert client.send(address, b"{}", {}).status == 200


def test_a_second_address_of_a_name_is_tried(serve: Serve, names: Names) -> None:
    server = serve()
    names["booking.example.org"] = ["::1 127.0.0.1"]
    with Client() as client:
        assert client.fetch(f"https://booking.example.org:{server.port}/").status == 200


def test_a_server_that_ends_the_connection_at_once_is_not_reached(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Ended(socket.socket):
        def getpeername(self) -> Any:
            raise OSError(errno.ENOTCONN, "ended")

    monkeypatch.setattr(socket, "create_connection", lambda *rest, **more: Ended())
    assert failure(f"https://localhost:{serve().port}/") == Failure.NO_CONNECTION


def test_a_certificate_of_another_name_is_refused(serve: Serve, names: Names) -> None:
    server = serve()
    names["other.example.org"] = ["127.0.0.1"]
    assert failure(f"https://other.example.org:{server.port}/") == Failure.CERTIFICATE
    assert server.requests == []


def test_a_proxy_of_the_environment_is_not_used(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    server, proxy = serve(), serve()
    for name in ("HTTPS_PROXY", "https_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, f"http://127.0.0.1:{proxy.port}")
    with Client() as client:
        client.fetch(f"https://localhost:{server.port}/")
    assert len(server.requests) == 1 and proxy.connections == 0


# ------------------------------------------------------------------------------------- redirects
def test_a_redirect_is_judged_as_any_address(serve: Serve) -> None:
    target = serve(address="127.0.0.2")
    for where, why in (
        (f"https://127.0.0.2:{target.port}/", Failure.NOT_PUBLIC),
        (f"http://localhost:{target.port}/", Failure.NOT_HTTPS),
        ("https://169.254.169.254/latest/", Failure.NOT_PUBLIC),
        ("file:///etc/passwd", Failure.NOT_AN_ADDRESS),
        ("https://a:b@localhost/", Failure.CREDENTIALS),
        ("//[", Failure.NOT_AN_ADDRESS),
        ("https://[::1", Failure.NOT_AN_ADDRESS),
    ):
        server = serve(answer("302 Found", location=where))
        assert failure(f"https://localhost:{server.port}/", fetch=True) == why
    assert target.connections == 0


def test_redirects_are_followed_when_fetching_but_not_for_ever(serve: Serve) -> None:
    second = serve(answer(content=b"BEGIN"))
    first = serve(answer("301 Moved", location=f"https://localhost:{second.port}/b"))
    with Client() as client:
        got = client.fetch(f"https://localhost:{first.port}/a", {"x-token": "secret"})
    assert got.content == b"BEGIN"
    assert b"x-token" in first.requests[0] and b"x-token" not in second.requests[0]
    around = serve(answer("307 Again", location="/again"))
    address = f"https://localhost:{around.port}/"
    assert failure(address, fetch=True) == Failure.TOO_MANY_REDIRECTS
    assert len(around.requests) == 4


def test_a_name_that_a_server_gave_is_sent_back_as_it_was(serve: Serve) -> None:
    def write(connection: ssl.SSLSocket) -> None:
        connection.sendall(b'HTTP/1.1 200 OK\r\nETag: "\xe9"\r\nContent-Length: 0\r\n\r\n')

    server = serve(write)
    with Client() as client:
        etag = client.fetch(f"https://localhost:{server.port}/").headers["etag"]
        client.fetch(f"https://localhost:{server.port}/", {"if-none-match": etag})
    assert b'if-none-match: "\xe9"' in server.requests[1]


def test_what_is_sent_follows_no_redirect(serve: Serve) -> None:
    target = serve()
    server = serve(answer("307 Elsewhere", location=f"https://localhost:{target.port}/"))
    with Client() as client:
        assert client.send(f"https://localhost:{server.port}/", b"{}", {}).status == 307
    assert target.connections == 0


# ------------------------------------------------------------------------------- time and size
def drip(text: bytes, every: float) -> Reply:
    """A reply of which a byte comes now and then, for as long as somebody listens."""

    def write(connection: ssl.SSLSocket) -> None:
        for byte in text * 1000:
            connection.sendall(bytes([byte]))
            if connection_ended(connection, every):
                return

    return write


def connection_ended(connection: ssl.SSLSocket, seconds: float) -> bool:
    connection.settimeout(seconds)
    try:
        return connection.recv(1) == b""
    except TimeoutError:
        return False


@pytest.mark.parametrize(
    "text",
    [b"HTTP/1.1 200 OK\r\nX-A: b\r\n", b"HTTP/1.1 102 Wait\r\n\r\n", b"x"],
    ids=["headers", "interim answers", "nothing that is HTTP"],
)
def test_an_answer_that_comes_by_the_byte_ends_in_time(serve: Serve, text: bytes) -> None:
    server = serve(drip(text, 0.02))
    start = monotonic()
    why = failure(f"https://localhost:{server.port}/", seconds=0.4)
    assert why in (Failure.TOO_SLOW, Failure.NO_ANSWER) and monotonic() - start < 2


def test_a_content_that_comes_by_the_byte_ends_in_time(serve: Serve) -> None:
    def begin(connection: ssl.SSLSocket) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n")
        drip(b"1\r\nx\r\n", 0.02)(connection)

    address = f"https://localhost:{serve(begin).port}/"
    start = monotonic()
    assert failure(address, fetch=True, seconds=0.4) == Failure.TOO_SLOW
    assert failure(address, seconds=0.4) == Failure.TOO_SLOW
    assert monotonic() - start < 3


def test_a_server_that_takes_the_connection_and_says_nothing_ends_in_time(settings: Any) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        settings.INTERNAL_HOSTS = allowed_inside([f"127.0.0.1:{port}"])
        start = monotonic()
        assert failure(f"https://127.0.0.1:{port}/", seconds=0.3) == Failure.TOO_SLOW
        assert monotonic() - start < 2


def test_a_name_that_takes_too_long_to_resolve_ends_in_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ended = threading.Event()
    monkeypatch.setattr(socket, "getaddrinfo", lambda *rest, **more: ended.wait(5))
    start = monotonic()
    assert failure("https://booking.example.org/", seconds=0.2) == Failure.TOO_SLOW
    ended.set()
    assert monotonic() - start < 2


def test_an_answer_is_read_no_further_than_it_may_be(serve: Serve) -> None:
    def endless(connection: ssl.SSLSocket) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\n\r\n")
        while True:
            connection.sendall(b"x" * 65536)

    address = f"https://localhost:{serve(endless).port}/"
    assert failure(address, fetch=True, at_most=100_000) == Failure.TOO_LARGE
    with Client() as client:
        assert client.send(address, b"{}", {}).status == 200


def test_headers_without_end_are_refused(serve: Serve) -> None:
    def endless(connection: ssl.SSLSocket) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\n")
        while True:
            connection.sendall(b"X-A: " + b"x" * 4000 + b"\r\n")

    address = f"https://localhost:{serve(endless).port}/"
    assert failure(address, fetch=True) == Failure.NO_ANSWER


def test_a_small_file_that_unpacks_into_a_huge_one_is_refused(serve: Serve) -> None:
    bomb = gzip.compress(bytes(20_000_000))
    server = serve(answer(content=bomb, content_encoding="gzip"))
    address = f"https://localhost:{server.port}/"
    assert failure(address, fetch=True, at_most=100_000) == Failure.TOO_LARGE
    with Client() as client:
        assert client.send(address, b"{}", {}).content == bomb, "what is answered is not unpacked"


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (gzip.compress(b"BEGIN" * 100, mtime=0)[:-9], "gzip"),
        (gzip.compress(b"BEGIN", mtime=0) + b"rest", "gzip"),
        (b"BEGIN", "gzip"),
        (zlib.compress(b"BEGIN"), "deflate"),
        (b"BEGIN", "gzip, gzip"),
    ],
)
def test_what_does_not_unpack_whole_is_no_answer(
    serve: Serve, content: bytes, encoding: str
) -> None:
    server = serve(answer(content=content, content_encoding=encoding))
    assert failure(f"https://localhost:{server.port}/", fetch=True) == Failure.NO_ANSWER


def test_what_is_compressed_is_unpacked(serve: Serve) -> None:
    server = serve(answer(content=gzip.compress(b"BEGIN"), content_encoding="gzip"))
    with Client() as client:
        assert client.fetch(f"https://localhost:{server.port}/").content == b"BEGIN"


def test_an_answer_that_breaks_off_is_none(serve: Serve) -> None:
    def broken(connection: ssl.SSLSocket) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nBEGIN")
        connection.close()

    assert failure(f"https://localhost:{serve(broken).port}/", fetch=True) == Failure.NO_ANSWER
