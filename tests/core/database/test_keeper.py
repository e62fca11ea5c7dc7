"""The keeper of a test session leaves nothing behind, however the session ends."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest
import redis

from tests import keeper
from tests.present import present

LIMIT_SECONDS = 30

# A session that is killed: it starts a keeper and waits for its own end.
HOLDER = """
import pathlib, signal, sys
sys.path.insert(0, sys.argv[2])
from tests import keeper
held = keeper.start(pathlib.Path(sys.argv[1]))
print("held", flush=True)
signal.pause()
"""


@pytest.fixture
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Short, since a Unix socket's path may have no more than about 100 bytes."""
    import tempfile
    from pathlib import Path

    return Path(tempfile.mkdtemp(prefix="gearroom-keeper-"))


def reachable(url: Any) -> bool:
    where = urlsplit(url)
    try:
        with socket.create_connection((where.hostname, where.port), timeout=5):
            return True
    except OSError:
        return False


def test_it_starts_servers_when_asked_and_stops_them_with_the_session(
    folder: Path, need: Callable[[str], str]
) -> None:
    need("postgresql")
    need("redis-server")
    held = keeper.start(folder)
    try:
        urls = [keeper.ask(folder, want=name)["url"] for name in ("postgresql", "redis")]
        again = keeper.ask(folder, want="postgresql")["url"]
        other = keeper.ask(folder, want="redis")["url"]
        with psycopg.connect(urls[0]) as database:
            assert database.execute("SELECT 1").fetchone() == (1,)
        with redis.Redis.from_url(urls[1]) as first, redis.Redis.from_url(other) as second:
            first.set("x", 1)
            assert second.get("x") is None
        assert again == urls[0]
    finally:
        keeper.stop(held)
    assert [reachable(url) for url in urls] == [False, False]
    assert not folder.exists()


def test_it_stops_all_when_the_session_is_killed(folder: Path, need: Callable[[str], str]) -> None:
    need("redis-server")
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder), str(keeper.PROJECT)], stdout=subprocess.PIPE
    )
    with holder:
        assert present(holder.stdout).readline() == b"held\n"
        url = keeper.ask(folder, want="redis")["url"]
        program = subprocess.Popen(["sleep", "1000"], start_new_session=True)
        keeper.ask(folder, watch=program.pid)
        holder.send_signal(signal.SIGKILL)
    assert program.wait(LIMIT_SECONDS) == -signal.SIGKILL
    limit = time.monotonic() + LIMIT_SECONDS
    while folder.exists():
        assert time.monotonic() < limit, "the keeper is still there"
        time.sleep(0.05)
    assert not reachable(url)


def test_it_says_what_it_could_not_do(folder: Path) -> None:
    held = keeper.start(folder)
    try:
        with pytest.raises(RuntimeError, match="unknown request"):
            keeper.ask(folder, want="tea")
    finally:
        keeper.stop(held)


SKIPPING = """
import pytest

def test_skips():
    pytest.skip("no reason")

@pytest.mark.skipif(True, reason="never")
def test_is_marked():
    pass

def test_passes():
    pass
"""


@pytest.mark.parametrize(("ci", "code"), [("true", 1), ("", 0)])
def test_a_skip_fails_the_run_in_ci_only(ci: str, code: int, tmp_path: Path) -> None:
    result = _session(tmp_path, SKIPPING, CI=ci)
    assert result.returncode == code, result.stdout + result.stderr
    counted = "1 failed, 1 passed, 1 error" if ci else "1 passed, 2 skipped"
    assert counted in result.stdout


def _session(folder: Path, tests: str, **settings: str) -> subprocess.CompletedProcess[str]:
    """Run these tests in a session of their own, with what every test here can ask for."""
    (folder / "test_in_a_session.py").write_text(tests)
    (folder / "conftest.py").write_text("from tests.conftest import *\n")
    (folder / "pytest.ini").write_text(
        "[pytest]\n"
        "DJANGO_SETTINGS_MODULE = tests.settings\n"
        f"pythonpath = {keeper.PROJECT}\n"
        "markers =\n  long: x\n  server: x\n"
    )
    env = {name: value for name, value in os.environ.items() if "GEARROOM" not in name}
    return subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:schemathesis",
            str(folder),
        ],
        cwd=folder,
        env={**env, **settings},
        capture_output=True,
        text=True,
    )


def test_sessions_that_keep_a_template_at_once_leave_a_whole_one(tmp_path: Path) -> None:
    content = os.urandom(2**20)
    kept, old = tmp_path / "kept" / "now.sqlite3", tmp_path / "kept" / "before.sqlite3"
    old.parent.mkdir()
    old.write_bytes(b"old")
    files = [tmp_path / str(number) / "template.sqlite3" for number in range(8)]
    for file in files:
        file.parent.mkdir()
        file.write_bytes(content)

    with ThreadPoolExecutor(len(files)) as sessions:
        list(sessions.map(lambda file: keeper._keep(file, kept), files))

    assert [file.name for file in kept.parent.iterdir()] == [kept.name]
    assert kept.read_bytes() == content


IN_A_LANGUAGE = """
from django.utils import translation


def test_leaves_it():
    translation.activate("de")


def test_starts_without():
    assert translation.get_language() == "en-gb"
"""


def test_no_test_begins_in_the_language_of_the_one_before(tmp_path: Path) -> None:
    result = _session(tmp_path, IN_A_LANGUAGE)

    assert result.returncode == 0, result.stdout + result.stderr
