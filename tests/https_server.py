"""An HTTPS server of a test, in a thread, that answers byte for byte what the test says; and the
authority that vouches for it."""

import datetime
import ipaddress
import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

NAMES = ("localhost", "booking.example.org", "calendar.example.org")
ADDRESSES = ("127.0.0.1", "127.0.0.2", "::1")

Reply = Callable[[ssl.SSLSocket], None]
"""What a server does once a request was read: it writes to the connection."""


def certificate(folder: Path) -> tuple[Path, Path]:
    """The file of an authority, and the file of a server's key and certificate by it."""
    authority, server = folder / "authority.pem", folder / "server.pem"
    if not server.exists():
        now = datetime.datetime.now(datetime.UTC)
        until = now + datetime.timedelta(days=2)
        ours = ec.generate_private_key(ec.SECP256R1())
        name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Authority of the tests")])
        root = (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(name)
            .public_key(ours.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(days=1))
            .not_valid_after(until)
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .sign(ours, hashes.SHA256())
        )
        key = ec.generate_private_key(ec.SECP256R1())
        names = [x509.DNSName(each) for each in NAMES]
        addresses = [x509.IPAddress(ipaddress.ip_address(each)) for each in ADDRESSES]
        leaf = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")]))
            .issuer_name(name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(days=1))
            .not_valid_after(until)
            .add_extension(x509.SubjectAlternativeName([*names, *addresses]), critical=False)
            .sign(ours, hashes.SHA256())
        )
        pem = serialization.Encoding.PEM
        authority.write_bytes(root.public_bytes(pem))
        server.write_bytes(
            key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
            + leaf.public_bytes(pem)
        )
    return authority, server


def answer(status: str = "200 OK", content: bytes = b"", **headers: str) -> Reply:
    """A reply as servers write it."""
    lines = [f"{name.replace('_', '-')}: {value}" for name, value in headers.items()]
    head = "\r\n".join([f"HTTP/1.1 {status}", f"Content-Length: {len(content)}", *lines])

    def write(connection: ssl.SSLSocket) -> None:
        connection.sendall(f"{head}\r\n\r\n".encode() + content)

    return write


class HttpsServer:
    """A server on a free port of an address. `replies` are given one after another, the last of
    them for ever; `requests` are what came, whole, and `connections` how many there were."""

    def __init__(self, pem: Path, *replies: Reply, address: str = "127.0.0.1", port: int = 0):
        self.replies = list(replies) or [answer()]
        self.requests: list[bytes] = []
        self.connections = 0
        self._ended = threading.Event()
        self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self._context.load_cert_chain(pem)
        self._socket = socket.create_server((address, port))
        self.port: int = self._socket.getsockname()[1]
        self._thread = threading.Thread(target=self._accept, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Take no more connections."""
        self._ended.set()
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._thread.join(10)

    def wait(self, seconds: float) -> bool:
        """Wait, unless the server is closed meanwhile; whether it was."""
        return self._ended.wait(seconds)

    def _accept(self) -> None:
        with suppress(OSError):
            while not self._ended.is_set():
                connection, _peer = self._socket.accept()
                self.connections += 1
                threading.Thread(target=self._serve, args=[connection], daemon=True).start()

    def _serve(self, plain: socket.socket) -> None:
        with suppress(OSError), self._context.wrap_socket(plain, server_side=True) as connection:
            while request := self._request(connection):
                self.requests.append(request)
                reply = self.replies.pop(0) if len(self.replies) > 1 else self.replies[0]
                reply(connection)

    def _request(self, connection: ssl.SSLSocket) -> bytes:
        text = b""
        while b"\r\n\r\n" not in text:
            if not (part := connection.recv(65536)):
                return b""
            text += part
        head, _, content = text.partition(b"\r\n\r\n")
        lengths = [
            int(line.partition(b":")[2])
            for line in head.lower().split(b"\r\n")
            if line.startswith(b"content-length:")
        ]
        while lengths and len(content) < lengths[0]:
            content += connection.recv(65536)
        return head + b"\r\n\r\n" + content
