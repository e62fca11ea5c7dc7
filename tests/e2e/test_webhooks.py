"""Every event arrives, signed and in order, at another program, whatever is killed on the way."""

import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from django.db import connections
from django.utils import timezone

from gearroom.core.rules.public_addresses import allowed_inside
from kits.models import Webhook
from kits.services.webhooks import webhooks
from kits.services.webhooks.sending import WRITE_EVERY_EVENTS
from tests import keeper
from tests.e2e.postroom import Worker
from tests.https_server import certificate
from tests.kits.webhooks.making import act_on, ids, made, written
from tests.program import PROJECT, environment
from tests.waiting import until

pytestmark = pytest.mark.server


class Receiver:
    """tests/kits/webhooks/receiver.py in a process of its own, on the same port whenever it is
    started."""

    def __init__(self, session: Path, folder: Path) -> None:
        self.session, self.folder = session, folder
        self.authority, self.pem = certificate(session)
        self.port = keeper.free_port()
        self.process: subprocess.Popen[bytes] | None = None
        folder.mkdir()
        (folder / "book").touch()

    def start(self) -> None:
        """Accept events from now on."""
        module = "tests.kits.webhooks.receiver"
        self.process = subprocess.Popen(
            [sys.executable, "-m", module, str(self.pem), str(self.port), str(self.folder)],
            cwd=PROJECT, stdout=subprocess.PIPE, start_new_session=True,
        )  # fmt: skip
        keeper.ask(self.session, watch=self.process.pid)
        assert self.process.stdout is not None and self.process.stdout.readline()

    def kill(self) -> None:
        """`kill -9`."""
        if self.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.communicate()
            keeper.ask(self.session, release=self.process.pid)
            self.process = None

    def knows(self, *secrets: str) -> None:
        """Accept what one of these signed, and nothing else."""
        (self.folder / "secrets.new").write_text("\n".join(secrets))
        (self.folder / "secrets.new").rename(self.folder / "secrets")

    @property
    def book(self) -> list[dict[str, Any]]:
        """What it accepted, in order."""
        return [json.loads(line) for line in (self.folder / "book").read_text().splitlines()]


@pytest.fixture
def booking(session_folder: Path, tmp_path: Path) -> Iterator[Receiver]:
    receiver = Receiver(session_folder, tmp_path / "booking")
    yield receiver
    receiver.kill()


@pytest.fixture
def dead() -> Iterator[int]:
    """The port of a server that takes connections and never answers."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


@pytest.fixture
def worker(
    open_database: str,
    engine: str,
    booking: Receiver,
    dead: int,
    session_folder: Path,
    tmp_path: Path,
    need: Callable[[str], str],
    settings: Any,
) -> Iterator[Worker]:
    broker = {}
    if engine == "postgresql":
        need("redis-server")
        broker = {"CELERY_BROKER_URL": keeper.ask(session_folder, want="redis")["url"]}
    env = environment(
        tmp_path, DATABASE_URL=open_database, SECRET_KEY=settings.SECRET_KEY,
        SSL_CERT_FILE=str(booking.authority), **broker,
        GEARROOM_INTERNAL_HOSTS=f"localhost:{booking.port},localhost:{dead}",
    )  # fmt: skip
    settings.INTERNAL_HOSTS = allowed_inside(env["GEARROOM_INTERNAL_HOSTS"].split(","))
    worker = Worker(session_folder, env)
    yield worker
    worker.kill()


def sweep(worker: Worker) -> None:
    """The next sweep comes, and every wait is over."""
    Webhook.objects.update(due_at=timezone.now())
    worker.app.send_task("kits.tasks.webhooks.send", ignore_result=True)
    connections.close_all()


@pytest.mark.long
def test_every_event_arrives_in_order_whatever_is_killed(
    worker: Worker, booking: Receiver, dead: int
) -> None:
    silent, _secret = made(dead)
    webhook, first = made(booking.port, name="Bo")
    booking.knows(first)
    booking.start()
    worker.start()
    events = written(400)
    sweep(worker)

    until(lambda: len(booking.book) >= 30, "some have arrived")
    worker.kill()
    at_kill = len(booking.book)
    worker.start()
    sweep(worker)
    until(lambda: len(booking.book) >= at_kill + 100, "more have arrived")
    booking.kill()
    events += written(100)
    until(lambda: tries(webhook), "one has failed")
    _webhook, second = webhooks.rotate(act_on(webhook), webhook)
    booking.knows(second)
    booking.start()
    sweep(worker)
    until(lambda: booking.book[-1]["id"] == str(events[-1].message_id), "the last has arrived")

    arrived = [row["id"] for row in booking.book]
    assert list(dict.fromkeys(arrived)) == ids(events)
    assert len(arrived) <= len(events) + 2 * WRITE_EVERY_EVENTS
    silent.refresh_from_db()
    assert silent.position < events[0].pk


def tries(webhook: Webhook) -> int:
    """How often the next event of a webhook was refused."""
    webhook.refresh_from_db()
    connections.close_all()
    return webhook.tries
