"""One machine's whole service: web, worker and scheduler over one data folder."""

import fcntl
import json
import os
import socket
import sqlite3
import ssl
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import monotonic, sleep
from urllib.error import URLError

from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections

from gearroom.core.management.base import lacks_migrations
from gearroom.site.ops.supervise import Program, Supervisor

LOCK_FILE = "serve.lock"
HANDOVER_SECONDS = 7.0
# The key of the advisory lock that keeps two servers from migrating one PostgreSQL at a time.
MIGRATION_LOCK = 0x67656172


class AlreadyRunning(Exception):
    """Another server runs over this data folder; the message says where."""


class PortInUse(Exception):
    """Something else listens on the port."""


@dataclass(frozen=True)
class Certificate:
    """TLS: the chain and its key, both in PEM files."""

    chain: Path
    key: Path


def _succeeds(attempt: Callable[[], object], seconds: float) -> bool:
    """Try until there is no OSError or the time is up: a server killed just now takes a moment to
    go."""
    limit = monotonic() + seconds
    while True:
        try:
            attempt()
            return True
        except OSError:
            if monotonic() > limit:
                return False
        sleep(0.1)


@contextmanager
def sole_use(folder: Path, *, address: str, wait_seconds: float = 0.0) -> Iterator[None]:
    """Hold the data folder's lock; raises AlreadyRunning if another server has it.

    The kernel drops the lock with its holder, however that ends: a stale file is no hindrance.
    """
    with (folder / LOCK_FILE).open("a+") as file:
        if not _succeeds(partial(fcntl.flock, file, fcntl.LOCK_EX | fcntl.LOCK_NB), wait_seconds):
            file.seek(0)
            holder = {}
            with suppress(json.JSONDecodeError):
                holder = json.loads(file.read())
            raise AlreadyRunning(
                f"Gearroom already runs over {folder} at {holder.get('address', 'some address')} "
                f"(process {holder.get('pid', 'not known')}). Stop it first."
            )
        file.truncate(0)
        file.write(json.dumps({"pid": os.getpid(), "address": address}))
        file.flush()
        yield


def listen(host: str, port: int) -> socket.socket:
    """A listening socket, made here so that it outlives a restart of the web program.

    Raises PortInUse when the port is not free, nor becomes so while an old server goes.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    if not _succeeds(partial(listener.bind, (host, port)), HANDOVER_SECONDS):
        listener.close()
        raise PortInUse(f"Port {port} is in use by another program. Choose one with --port.")
    listener.listen(512)
    return listener


def migrate_if_behind(say: Callable[[str], None]) -> None:
    """Bring the database up to the program's migrations, one server at a time."""
    with _migration_lock():
        if lacks_migrations():
            say("Bringing the database up to date…")
            call_command("migrate", interactive=False, verbosity=0)
    connections.close_all()


@contextmanager
def _migration_lock() -> Iterator[None]:
    if connection.vendor != "postgresql":
        yield  # the data folder's lock is enough: its database is a file there
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s)", [MIGRATION_LOCK])
        try:
            yield
        finally:
            cursor.execute("SELECT pg_advisory_unlock(%s)", [MIGRATION_LOCK])


@contextmanager
def _held_open() -> Iterator[None]:
    """Have SQLite's file open all the time: whoever opens it first has to make its shared memory
    beside it, and on a full disk could not, so that nothing could be read."""
    if connection.vendor != "sqlite":
        yield
        return
    with closing(sqlite3.connect(connection.settings_dict["NAME"])) as held:
        held.execute("SELECT count(*) FROM sqlite_master")
        yield


def programs(listener: socket.socket, certificate: Certificate | None) -> list[Program]:
    """Web, worker and scheduler, sized for this machine's cores."""
    web = [
        f"--bind=fd://{listener.fileno()}",
        "--preload",  # loaded once, then forked: half the work of a start on a small machine
        "--worker-class=gearroom.site.ops.web_server.Worker",
        "--logger-class=gearroom.site.ops.web_server.Log",
        f"--workers={max(2, min(4, os.cpu_count() or 2))}",
        "--threads=16",
        "--timeout=60",
        "--graceful-timeout=8",
        "--keep-alive=15",
        "--log-level=warning",
        "--no-control-socket",
        "gearroom.wsgi",
    ]
    if certificate is not None:
        web[:0] = [f"--certfile={certificate.chain}", f"--keyfile={certificate.key}"]
    return [
        Program("web", "gunicorn", web, pass_fds=[listener.fileno()]),
        Program(
            "worker",
            "celery",
            ["--app=gearroom", "--quiet", "worker", "--pool=threads", "--concurrency=2",
             "--loglevel=warning", "--without-gossip", "--without-mingle",
             "--without-heartbeat"],
            when_ready=True,
        ),
        # No pid file and no schedule file: after kill -9 there is nothing stale or torn to read.
        # What is due is found in the database, not in the scheduler's memory.
        Program(
            "scheduler",
            "celery",
            ["--app=gearroom.celery:scheduler", "--quiet", "beat", "--pidfile=",
             "--loglevel=warning"],
            when_ready=True,
        ),
    ]  # fmt: skip


def serve(
    *,
    host: str,
    port: int,
    names: list[str],
    certificate: Certificate | None,
    say: Callable[[str], None],
    on_ready: Callable[[str], None],
) -> int:
    """Serve until stopped; the exit code.

    host, port   the address to bind; port 0 takes any free one
    names        host names and addresses by which the server may be asked, the likeliest first
    on_ready     called once, in a thread, with the address when the web program answers;
                 what it raises stops the service and is raised here
    Raises AlreadyRunning or PortInUse.
    """
    scheme = "https" if certificate else "http"
    with (
        sole_use(settings.DATA_DIR, address=f"port {port}", wait_seconds=1.0),
        listen(host, port) as listener,
        ExitStack() as opened,
    ):
        port = listener.getsockname()[1]
        migrate_if_behind(say)
        opened.enter_context(_held_open())
        return Supervisor(
            programs(listener, certificate),
            env=_environment(names, certificate),
            folder=settings.BASE_DIR,
            is_ready=lambda: healthy(f"{scheme}://127.0.0.1:{port}"),
            on_ready=lambda: on_ready(f"{scheme}://{names[0]}:{port}"),
            say=say,
        ).run()


def _environment(names: list[str], certificate: Certificate | None) -> Mapping[str, str]:
    hosts = (f"[{name}]" if ":" in name else name for name in names)
    return {
        **os.environ,
        "GEARROOM_DATA_DIR": str(settings.DATA_DIR),
        "GEARROOM_ALLOWED_HOSTS": ",".join(dict.fromkeys([*settings.ALLOWED_HOSTS, *hosts])),
        "GEARROOM_TLS": "1" if certificate is not None else "0",
        # Else the worker loads every page and API to check the program at each start.
        "CELERY_SKIP_CHECKS": "1",
    }


def healthy(address: str) -> bool:
    """Whether a server at this address (on this machine) says that it is well."""
    unverified = ssl.create_default_context()
    unverified.check_hostname = False
    unverified.verify_mode = ssl.CERT_NONE
    # No proxy of the environment: the server is here.
    opener = urllib.request.build_opener(
        urllib.request.ProxyHandler({}), urllib.request.HTTPSHandler(context=unverified)
    )
    try:
        with opener.open(f"{address}/health/", timeout=10) as answer:
            return bool(answer.status == 200)
    except (URLError, OSError, ValueError):
        return False
