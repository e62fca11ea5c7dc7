"""Frames between a reader process and its owner: a JSON header and bytes, both with a length."""

import json
import socket
import struct
from typing import Any

MOST_BYTES = 64 * 1024 * 1024
"""Of one frame: more than any file or answer has, so that neither side can swell the other."""

_LENGTHS = struct.Struct("!II")


def send(connection: socket.socket, header: dict[str, Any], body: bytes = b"") -> None:
    """Send one frame. Raises OSError (TimeoutError among them) where the other side is gone."""
    text = json.dumps(header).encode()
    connection.sendall(_LENGTHS.pack(len(text), len(body)) + text)
    if body:
        connection.sendall(body)


def receive(connection: socket.socket) -> tuple[dict[str, Any], bytes]:
    """Receive one frame. Raises EOFError where the other side has closed, or sends what is none."""
    header, body = _LENGTHS.unpack(_exactly(connection, _LENGTHS.size))
    if header + body > MOST_BYTES:
        raise EOFError("the other side has lost its way")
    return json.loads(_exactly(connection, header)), _exactly(connection, body)


def _exactly(connection: socket.socket, length: int) -> bytes:
    whole = bytearray(length)
    view = memoryview(whole)
    while view:
        if not (got := connection.recv_into(view)):
            raise EOFError("the other side has closed")
        view = view[got:]
    return bytes(whole)
