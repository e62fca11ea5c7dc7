"""A real mail server whose answers a test scripts, and a real Celery worker that can be killed."""

import email
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import default
from functools import cached_property
from pathlib import Path
from typing import Any, Self

from aiosmtpd.controller import Controller
from celery import Celery
from kombu.transport import TRANSPORT_ALIASES

from tests import keeper
from tests.program import PROJECT


@dataclass
class Letter:
    """A message that the server took: to whom, and its exact bytes."""

    recipient: str
    content: bytes

    @property
    def message(self) -> EmailMessage:
        """The message as a mail program reads it."""
        return email.message_from_bytes(self.content, policy=default)

    @cached_property
    def message_id(self) -> str:
        """Its Message-ID."""
        return str(self.message["Message-ID"])


@dataclass
class MailServer:
    """An SMTP server. `accepted` is its log of what it took, in order.

    `rcpt` and `data` are called with a recipient and give an answer (None: 250). `on_accept` runs
    after a message is in the log, before the client is told.
    """

    accepted: list[Letter] = field(default_factory=list)
    rcpt: Callable[[str], str | None] = lambda _: None
    data: Callable[[str], str | None] = lambda _: None
    drop: Callable[[str], bool] = lambda _: False
    on_accept: Callable[[], None] = lambda: None
    asked: int = 0
    port: int = field(default_factory=keeper.free_port)
    _controller: Controller | None = None

    def start(self) -> Self:
        """Answer from now on."""
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self._controller.start()
        return self

    def stop(self) -> None:
        """Answer no more."""
        if self._controller is not None:
            self._controller.stop()
            self._controller = None

    @property
    def url(self) -> str:
        """For EMAIL_URL."""
        return f"smtp://127.0.0.1:{self.port}"

    async def handle_RCPT(
        self, server: Any, session: Any, envelope: Any, address: str, options: Any
    ) -> str:
        """An answer to one recipient."""
        self.asked += 1
        if answer := self.rcpt(address):
            return answer
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        """An answer to a message."""
        recipient = envelope.rcpt_tos[0]
        if answer := self.data(recipient):
            return answer
        self.accepted.append(Letter(recipient, envelope.original_content))
        self.on_accept()
        if self.drop(recipient):
            server.transport.abort()
        return "250 taken"

    def to(self, recipient: str) -> list[Letter]:
        """What it took for somebody."""
        return [letter for letter in self.accepted if letter.recipient == recipient]


class Worker:
    """`celery worker` in a process group of its own, and the broker it listens to."""

    def __init__(self, session: Path, env: dict[str, str]) -> None:
        self.session = session
        self.env = env
        self.process: subprocess.Popen[bytes] | None = None
        self.killing = threading.Lock()
        folder = Path(env["GEARROOM_DATA_DIR"])
        self.log = folder / "worker.log"
        TRANSPORT_ALIASES["filesystem"] = "gearroom.core.setup.folder_broker:Transport"
        self.app = Celery(set_as_current=False)
        self.app.conf.broker_url = env.get("CELERY_BROKER_URL", "filesystem://localhost/")
        if "CELERY_BROKER_URL" not in env:
            for name in ("messages", "control"):
                (folder / "queue" / name).mkdir(parents=True, exist_ok=True)
            self.app.conf.broker_transport_options = {
                "data_folder_in": str(folder / "queue" / "messages"),
                "data_folder_out": str(folder / "queue" / "messages"),
                "control_folder": str(folder / "queue" / "control"),
            }

    def ask(self, task: str) -> None:
        """Put a task into the queue, as the scheduler does."""
        self.app.send_task(f"kits.tasks.notices.{task}", ignore_result=True)

    def start(self) -> Self:
        """Start it; what is in the queue is done from now on."""
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "celery", "--app=gearroom", "--quiet", "worker",
                 "--pool=threads", "--concurrency=2", "--loglevel=warning", "--without-gossip",
                 "--without-mingle", "--without-heartbeat"],
                env={**self.env, "CELERY_SKIP_CHECKS": "1"},
                cwd=PROJECT,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )  # fmt: skip
        keeper.ask(self.session, watch=self.process.pid)
        return self

    def kill(self) -> None:
        """`kill -9`, as a power cut would; from whichever thread, it is gone afterwards."""
        with self.killing:
            if self.process is None:
                return
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(30)
            keeper.ask(self.session, release=self.process.pid)
            self.process = None
