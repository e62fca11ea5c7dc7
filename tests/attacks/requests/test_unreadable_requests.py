"""A request that the web server cannot read is answered as all others are, not with a page of its
own; and it keeps on serving."""

import json
import socket

import pytest

from gearroom.core.problem_codes import KINDS
from tests.program import Server


def say(server: Server, request: bytes) -> tuple[int, dict[str, str], bytes]:
    """What comes back for these bytes: status, headers, body."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as connection:
        connection.sendall(request)
        connection.settimeout(20)
        answer = b""
        while piece := connection.recv(65536):
            answer += piece
    head, _, body = answer.partition(b"\r\n\r\n")
    status, *lines = head.decode().split("\r\n")
    headers = dict(line.split(": ", 1) for line in lines)
    return int(status.split(" ")[1]), headers, body


REQUESTS = {
    "a long address": (b"GET /scan/?text=" + b"x" * 5000 + b" HTTP/1.1\r\nHost: h\r\n\r\n", 414),
    "a long address of the API": (b"GET /api/v1/kits/" + b"x" * 9000 + b" HTTP/1.1\r\n\r\n", 414),
    "a long header": (b"GET / HTTP/1.1\r\nHost: h\r\nX: " + b"x" * 9000 + b"\r\n\r\n", 431),
    "many headers": (b"GET / HTTP/1.1\r\n" + b"X: 1\r\n" * 200 + b"\r\n", 431),
    "no request at all": (b"hello there\r\n\r\n", 400),
    "a method that is none": (b"G(T / HTTP/1.1\r\nHost: h\r\n\r\n", 400),
    "a version that is none": (b"GET / HTTP/9\r\nHost: h\r\n\r\n", 400),
    "a header that is none": (b"GET / HTTP/1.1\r\nHost: h\r\nno colon\r\n\r\n", 400),
    "NUL in a header": (b"GET / HTTP/1.1\r\nHost: h\r\nX: \x00\r\n\r\n", 400),
    "two lengths": (
        b"POST / HTTP/1.1\r\nHost: h\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nx",
        400,
    ),
    "a coding that is none": (
        b"POST / HTTP/1.1\r\nHost: h\r\nTransfer-Encoding: x\r\n\r\n",
        400,
    ),
    "an expectation that is none": (b"GET / HTTP/1.1\r\nHost: h\r\nExpect: x\r\n\r\n", 400),
    "a start of HTTP/2": (b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", 400),
}


@pytest.mark.server
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_each_is_a_problem_that_says_what_to_do(server: Server) -> None:
    for name, (request, status) in REQUESTS.items():
        found, headers, body = say(server, request)
        assert found == status, (name, found, body)
        assert headers["Content-Type"] == "application/problem+json", name
        assert headers["Connection"] == "close" and int(headers["Content-Length"]) == len(body)
        problem = json.loads(body)
        assert problem["status"] == status and problem["type"] == f"/problems/{problem['code']}/"
        assert problem["title"] == KINDS[problem["code"]].title and problem["detail"]
        assert b"<html" not in body
        assert server.get(problem["type"])[0] == 200, "the page that explains it"
    assert server.get("/health/")[0] == 200
    assert "Traceback" not in server.log.read_text()
