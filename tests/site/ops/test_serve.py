"""`manage.py serve`: three programs as one, however it ends and whatever it finds."""

import http.client
import os
import signal
import socket
import ssl
import subprocess
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests import waiting
from tests.program import Server, environment, manage

pytestmark = pytest.mark.server
postgresql = pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
sqlite = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
LIMIT_SECONDS = 30


def processes(group: Any) -> dict[Any, Any]:
    """{process id: its command line} of a process group."""
    ps = ["ps", "-ww", "-A", "-o", "pid=,pgid=,stat=,args="]
    listing = subprocess.run(ps, capture_output=True, text=True, check=True).stdout
    rows = [line.split(None, 3) for line in listing.splitlines()]
    return {
        int(row[0]): row[3]
        for row in rows
        if len(row) == 4 and int(row[1]) == group and not row[2].startswith("Z")
    }


def until(condition: Any) -> None:
    """Wait for the programs."""
    waiting.until(condition, "it did not come true", LIMIT_SECONDS)


def only(group: int, word: Any) -> Any:
    """The process of the group that the supervisor started for `word`: the oldest one."""
    found = [pid for pid, line in processes(group).items() if word in line]
    return min(found) if found else None


def programs_run(group: int) -> bool:
    return all(only(group, word) for word in ("gunicorn", " worker ", " beat "))


def test_it_answers_keeps_others_off_its_data_and_stops_whole_when_asked(server: Server) -> None:
    group = server.pid
    assert server.get("/health/") == (200, b'{"status": "ok"}')
    until(lambda: programs_run(group))
    second = server.manage("serve", "--port", "0", check=False)
    assert second.returncode == 1
    assert f"already runs over {server.folder}" in second.stderr
    assert f"(process {group})" in second.stderr
    assert server.stop(signal.SIGTERM) == 0
    assert processes(group) == {}


@sqlite
def test_it_leaves_no_program_behind_when_only_the_supervisor_is_killed(
    server: Server, engine: str
) -> None:
    group = server.pid
    until(lambda: programs_run(group))
    os.kill(group, signal.SIGKILL)
    until(lambda: processes(group) == {})


def test_it_comes_back_after_a_power_cut_whatever_was_half_written(server: Server) -> None:
    server.kill()
    queue = server.folder / "queue"
    if queue.exists():  # on PostgreSQL the broker is Redis
        (queue / "messages" / "1_half.celery.msg").write_text('{"bo')
        (queue / "control" / "celery.exchange").write_text("")
    server.start()
    assert server.get("/health/")[0] == 200
    until(lambda: programs_run(server.pid))


@sqlite
def test_it_starts_a_program_again_that_ended_alone(server: Server, engine: str) -> None:
    for word in ("gunicorn", " worker ", " beat "):
        until(lambda word=word: only(server.pid, word))
        before = only(server.pid, word)
        os.kill(before, signal.SIGKILL)
        until(lambda word=word, before=before: only(server.pid, word) not in (None, before))
    until(lambda: server.get("/health/")[0] == 200)
    assert "web ended (signal SIGKILL); starting it again" in server.log.read_text()


@sqlite
def test_it_says_that_the_port_is_taken(make_server: Callable[..., Server], engine: str) -> None:
    server = make_server()
    with socket.create_server(("127.0.0.1", server.port)):
        second = server.manage("serve", "--port", str(server.port), check=False)
    assert second.returncode == 1
    assert f"Port {server.port} is in use" in second.stderr


@sqlite
def test_it_needs_nothing_but_a_folder_and_stops_at_ctrl_c(
    make_server: Callable[..., Server], engine: str
) -> None:
    """No setting at all: database, secret key and queue are made there. No library complains."""
    server = make_server()
    server.env = environment(server.folder)
    server.start()
    assert server.get("/health/")[0] == 200
    assert server.manage("migrate", "--check").returncode == 0
    group = server.pid
    os.killpg(group, signal.SIGINT)  # a terminal sends it to every program at once
    until(lambda: processes(group) == {})
    assert "Warning" not in server.log.read_text()


@postgresql
def test_two_that_start_at_once_over_one_empty_database_both_serve(
    make_server: Callable[..., Server], engine: str, own_database: str
) -> None:
    with psycopg.connect(own_database, autocommit=True) as database:
        database.execute("DROP SCHEMA public CASCADE")
        database.execute("CREATE SCHEMA public")
    servers = [make_server(), make_server()]
    for server in servers:
        server.start(wait=False)
    for server in servers:
        server.wait_until_ready()
        assert server.get("/health/")[0] == 200


@sqlite
def test_it_ends_and_says_why_when_a_program_cannot_start(
    make_server: Callable[..., Server], engine: str
) -> None:
    server = make_server(GUNICORN_CMD_ARGS="--no-such-option")
    result = server.manage("serve", "--port", str(server.port), check=False)
    assert result.returncode == 1
    assert "web ended before all was ready" in result.stderr
    assert "no-such-option" in result.stderr


@sqlite
def test_it_refuses_huge_and_unmeasured_bodies_without_reading_them(
    server: Server, engine: str
) -> None:
    def send(headers: dict[Any, Any], body: bytes = b"") -> tuple[int, Any, bytes]:
        line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LIMIT_SECONDS)
        line.putrequest("POST", "/health/")
        for name, value in headers.items():
            line.putheader(name, value)
        line.endheaders(body)
        answer = line.getresponse()
        content = answer.read()
        line.close()
        return answer.status, answer.headers["Content-Type"], content

    status, kind, content = send({"Content-Length": str(2 * 1024**3)}, b"x" * 100_000)
    assert (status, kind) == (413, "application/problem+json")
    assert b"larger than 26 MB" in content
    status, kind, content = send({"Transfer-Encoding": "chunked"}, b"5\r\nhello\r\n0\r\n\r\n")
    assert (status, kind) == (411, "application/problem+json")
    assert b"Content-Length" in content


@sqlite
def test_it_serves_the_local_network_with_a_certificate_of_its_own(
    make_server: Callable[..., Server], engine: str
) -> None:
    server = make_server()
    server.start("--lan")
    root = server.folder / "tls" / "root.crt"
    trusting = ssl.create_default_context(cadata=root.read_bytes())
    address = f"https://127.0.0.1:{server.port}/health/"
    with urllib.request.urlopen(address, context=trusting, timeout=LIMIT_SECONDS) as answer:
        assert answer.status == 200
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(address, timeout=LIMIT_SECONDS)
    host = socket.gethostname().split(".")[0].lower()
    named = urllib.request.Request(address, headers={"Host": f"{host}.local:{server.port}"})
    with urllib.request.urlopen(named, context=trusting, timeout=LIMIT_SECONDS) as answer:
        assert answer.status == 200
    assert server.ready_line.startswith("Gearroom serves at https://")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--port", "70000"], "--port must be from 0 to 65535"),
        (["--certfile", "x.pem", "--keyfile", "x.key"], "need --lan"),
        (["--lan", "--certfile", "x.pem"], "Give both"),
        (["--lan", "--certfile", "x.pem", "--keyfile", "x.key"], "There is no file x.pem"),
    ],
)
def test_it_says_which_option_cannot_be(options: list[str], says: str, tmp_path: Path) -> None:
    result = manage("serve", *options, env=environment(tmp_path), check=False)
    assert result.returncode == 1
    assert says in result.stderr


@sqlite
def test_what_sqlite_keeps_beside_its_file_is_there_all_the_time(
    server: Server, own_database: str
) -> None:
    """On a full disk it could not be made anew, and nothing could be read."""
    beside = Path(own_database.removeprefix("sqlite:///") + "-shm")
    made = beside.stat().st_ino

    for _ in range(20):
        assert server.get("/health/")[0] == 200
        assert server.get("/sign-in/")[0] == 200
        time.sleep(0.05)
        assert beside.stat().st_ino == made
