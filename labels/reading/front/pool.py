"""The owner's side: reader processes that live on from picture to picture and can be killed.

A file from a stranger can make a decoder loop, swell or crash. So decoding and reading pictures and
workbooks happens in a process of its own, watched from here: past its time (for a picture the
decoding bound, then the ladder's budget and grace) or over the memory bound it is killed, and the
next file finds a new one.
"""

import base64
import contextlib
import hashlib
import os
import queue
import select
import socket
import subprocess
import sys
import threading
import time
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from gearroom.core.rules.sentences import Sentence, SentenceError, say
from gearroom.core.setup.child_environment import without_secrets
from labels.reading.front import errors, wire
from labels.reading.front.results import Read, Reads, in_reading_order, quadrilateral

START_SECONDS = 20.0  # for the process to load its libraries
GRACE_SECONDS = 1.0  # beyond the budget, for a rung that took longer than foreseen
WORKBOOK_SECONDS = 10.0  # for reading a workbook; a large one takes a second
WAIT_SECONDS = 20.0  # for a process to come free
_POLL_SECONDS = 0.05  # how often memory is looked at while waiting
_ROOT = Path(__file__).resolve().parents[3]


Tables = list[list[list[str | int | float | None]]]


class _Ended(SentenceError):
    """The process is gone; the reason is a sentence for a person."""


class _Process:
    """A reader process that runs, and the socket to it."""

    def __init__(self, max_resident_bytes: int) -> None:
        self.max_resident_bytes = max_resident_bytes
        self.connection, theirs = socket.socketpair()
        paths = [str(_ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
        with theirs:
            self._process = subprocess.Popen(
                [
                    sys.executable, "-m", "labels.reading.front.child",
                    str(theirs.fileno()), str(max_resident_bytes),
                ],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
                env={
                    **without_secrets(os.environ),
                    "PYTHONPATH": os.pathsep.join(paths),
                    "OPENBLAS_NUM_THREADS": "1",
                    "OMP_NUM_THREADS": "1",
                },
            )  # fmt: skip
        self.pid = self._process.pid

    def runs(self) -> bool:
        """Whether it has not ended."""
        return self._process.poll() is None

    def kill(self) -> None:
        """End the process and wait for it."""
        self.connection.close()
        self._process.kill()
        self._process.wait()

    def send(self, header: dict[str, Any], body: bytes, until: float) -> None:
        """Send an order. Raises _Ended where the process does not take it."""
        try:
            self.connection.settimeout(max(0.1, until - time.monotonic()))
            wire.send(self.connection, header, body)
        except OSError as error:
            raise _Ended(say("The picture could not be processed. Send it again.")) from error

    def receive(self, until: float) -> dict[str, Any]:
        """Return the next frame's header; raises _Ended past a bound or at the process's end, and
        the error that the process reports."""
        while True:
            ready, _, _ = select.select([self.connection], [], [], _POLL_SECONDS)
            if ready:
                return self._receive(until)
            if self.resident_bytes() > self.max_resident_bytes:
                raise _Ended(errors.TOO_MUCH_MEMORY)
            if time.monotonic() > until:
                raise _Ended(say("The picture takes too long to open. Send a smaller one."))

    def _receive(self, until: float) -> dict[str, Any]:
        try:
            self.connection.settimeout(max(0.1, until - time.monotonic()))
            answer = wire.receive(self.connection)[0]
        except (EOFError, OSError) as error:
            raise _Ended(say("The picture is damaged and cannot be opened.")) from error
        if "error" in answer:
            raise getattr(errors, answer["error"])(Sentence(answer["text"], answer["facts"]))
        return answer

    def resident_bytes(self) -> int:
        """Return the process's resident memory; 0 where it cannot be known."""
        with contextlib.suppress(OSError, IndexError, ValueError):
            pages = Path(f"/proc/{self.pid}/statm").read_text().split()[1]
            return int(pages) * os.sysconf("SC_PAGE_SIZE")
        return 0


class _Reader:
    """A place for one reader process, started when first needed and again after every end."""

    def __init__(self, max_resident_bytes: int) -> None:
        self.max_resident_bytes = max_resident_bytes
        self.process: _Process | None = None

    def start(self) -> _Process:
        """Start the process unless it runs, wait until it is ready, and return it."""
        if self.process is None or not self.process.runs():
            self.kill()
            self.process = _Process(self.max_resident_bytes)
            self.process.receive(time.monotonic() + START_SECONDS)
        return self.process

    def kill(self) -> None:
        """End the process, where there is one."""
        if self.process is not None:
            self.process.kill()
            self.process = None


class Pool:
    """Reader processes for one server process; safe to use from many threads."""

    def __init__(
        self,
        *,
        max_bytes: int,
        max_pixels: int,
        decode_seconds: float,
        ladder_seconds: float,
        max_resident_bytes: int,
        processes: int,
    ) -> None:
        self.max_bytes = max_bytes
        self.max_pixels = max_pixels
        self.decode_seconds = decode_seconds
        self.ladder_seconds = ladder_seconds
        self.readers = [_Reader(max_resident_bytes) for _ in range(processes)]
        self.free: queue.LifoQueue[_Reader] = queue.LifoQueue()
        for reader in self.readers:
            self.free.put(reader)
        _pools.add(self)

    def read(
        self, picture: bytes, *, all_symbols: bool, budget_s: float | None, stop_at_own: bool
    ) -> Reads:
        """See `labels.reading.read`."""
        budget = self.ladder_seconds if budget_s is None else budget_s
        with self._reader_for(picture) as reader:
            process = self._start(reader)
            started = time.monotonic()
            until = started + self.decode_seconds
            orientation = 0
            reads: list[Read] = []
            rung, stopped = "", "killed"
            order = {
                "max_pixels": self.max_pixels,
                "budget_s": budget,
                "all_symbols": all_symbols,
                "stop_at_own": stop_at_own,
                "ends_in_s": self.decode_seconds + budget + 2 * GRACE_SECONDS,
            }
            try:
                process.send(order, picture, until)
                while True:
                    answer = process.receive(until)
                    if "decoded" in answer:
                        orientation = answer["orientation"]
                        until = time.monotonic() + budget + GRACE_SECONDS
                    elif "reads" in answer:
                        reads += [_from_json(read) for read in answer["reads"]]
                        rung = reads[-1].rung
                    else:
                        rung, stopped = answer["rung"] or rung, answer["stopped"]
                        break
            except _Ended as error:
                reader.kill()
                if not orientation:
                    raise errors.BrokenPicture(error.says) from error
        return Reads(
            tuple(in_reading_order(reads, orientation)),
            rung,
            stopped,
            (time.monotonic() - started) * 1000,
            hashlib.sha256(picture).hexdigest(),
        )

    def small(self, picture: bytes, *, longest_px: int) -> bytes:
        """See `labels.reading.small`."""
        order = {"max_pixels": self.max_pixels, "longest_px": longest_px}
        try:
            answer = self._ask(order, picture, self.decode_seconds)
        except _Ended as error:
            raise errors.BrokenPicture(error.says) from error
        return base64.b64decode(answer["jpeg"])

    def tables(self, workbook: bytes, *, sheets: int, rows: int, columns: int) -> Tables:
        """See `labels.reading.tables`."""
        order = {"sheets": sheets, "rows": rows, "columns": columns}
        try:
            answer: Tables = self._ask(order, workbook, WORKBOOK_SECONDS)["tables"]
        except _Ended as error:
            raise errors.WorkbookTooLarge(errors.TOO_MUCH) from error
        return answer

    def _ask(self, order: dict[str, Any], content: bytes, seconds: float) -> dict[str, Any]:
        """The one answer of a reader process to an order; raises _Ended where it had to be killed,
        and the error that it reports."""
        with self._reader_for(content) as reader:
            process = self._start(reader)
            until = time.monotonic() + seconds
            try:
                process.send({**order, "ends_in_s": seconds + GRACE_SECONDS}, content, until)
                return process.receive(until)
            except _Ended:
                reader.kill()
                raise

    @contextlib.contextmanager
    def _reader_for(self, picture: bytes) -> Iterator[_Reader]:
        """A free reader for a picture that is not too large."""
        if len(picture) > self.max_bytes:
            raise errors.PictureTooLarge(
                say(
                    "The picture is %(size)s MB; the limit is %(limit)s MB. Send a smaller one.",
                    size=round(len(picture) / 2**20, 1),
                    limit=self.max_bytes / 2**20,
                )
            )
        try:
            reader = self.free.get(timeout=WAIT_SECONDS)
        except queue.Empty:
            raise errors.ReaderBusy(
                say("Too many pictures are being processed at the moment. Try again shortly.")
            ) from None
        try:
            yield reader
        finally:
            self.free.put(reader)

    def _start(self, reader: _Reader) -> _Process:
        for _ in range(2):  # a machine that was held up for a while gets a second try
            try:
                return reader.start()
            except _Ended:
                reader.kill()
        raise errors.ReaderBusy(say("The code reader did not start. Try again in a moment."))

    def close(self) -> None:
        """End all processes."""
        for reader in self.readers:
            reader.kill()


def _from_json(value: dict[str, Any]) -> Read:
    corners = quadrilateral(value["corners"])
    return Read(**{**value, "raw": bytes.fromhex(value["raw"]), "corners": corners})


_lock = threading.Lock()
_pool: Pool | None = None
_pools: "weakref.WeakSet[Pool]" = weakref.WeakSet()


def shared() -> Pool:
    """Return this server process's pool, made from the settings at the first call."""
    global _pool
    with _lock:
        if _pool is None:
            from django.conf import settings  # here, since the reader process imports this package

            _pool = Pool(**settings.READING)
        return _pool


def _after_fork() -> None:
    """A forked worker makes its own: its parent's sockets would keep readers alive for ever."""
    global _lock, _pool
    for reader in [reader for pool in _pools for reader in pool.readers]:
        if reader.process is not None:
            reader.process.connection.close()
    _lock = threading.Lock()
    _pool = None


os.register_at_fork(after_in_child=_after_fork)
