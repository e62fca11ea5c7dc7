"""The booking system as a process of its own, and parts of the program killed beside it."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing, suppress
from pathlib import Path

from tests import keeper
from tests.bookings.book import Book
from tests.bookings.office import Settings
from tests.program import PROJECT, Server
from tests.waiting import until


class BookingSystem:
    """The program in a process group of its own. `folder` has its settings, book and log."""

    def __init__(self, session: Path, folder: Path, settings: Settings) -> None:
        self.session = session
        self.folder = folder
        self.settings = settings
        self.book = Book(folder / "book.sqlite3")
        self._process: subprocess.Popen[bytes] | None = None
        (folder / "settings.json").write_text(json.dumps(vars(settings)))

    def start(self) -> None:
        """Start it; it goes on where it was."""
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "tests.bookings.office", str(self.folder)],
                cwd=PROJECT,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        keeper.ask(self.session, watch=self._process.pid)

    def kill(self) -> None:
        """`kill -9`, as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(30)
            keeper.ask(self.session, release=self._process.pid)
            self._process = None

    def answered(self) -> int:
        """How many of its requests have an answer, from whichever thread."""
        with closing(sqlite3.connect(self.folder / "book.sqlite3", timeout=30)) as book:
            return int(
                book.execute("select count(*) from letter where status is not null").fetchone()[0]
            )

    def is_past(self, requests: float) -> bool:
        """Whether so many requests have an answer, or all that there are."""
        return self.answered() >= requests or self.is_done()

    def is_done(self) -> bool:
        """Whether it did all that its season brings, and nothing waits to be sent."""
        assert self._process is not None
        assert self._process.poll() is None, (self.folder / "log").read_text()
        sent = self.answered()
        steps, letters = self.book.rows(
            "select (select count(*) from step), (select count(*) from letter)"
        )[0]
        return bool(steps == len(self.settings.steps) and letters == sent)


def kill_part(server: Server, program: str) -> None:
    """`kill -9` of what `serve` started as `gunicorn` or `celery`, once that runs; `serve` starts
    it again, later each time that it ended soon."""
    until(lambda: _part(server, program), f"{program} runs")
    for pid in _part(server, program):
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


def _part(server: Server, program: str) -> list[int]:
    listed = subprocess.run(
        ["ps", "-o", "pid=,args=", "-g", str(server.pid)],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.splitlines()
    return [int(line.split()[0]) for line in listed if f"leash {program}" in line]
