"""Celery's broker in a folder, made safe against power cuts and racing processes.

Kombu's file-system transport writes in place: a reader may find half a message, and a process
killed at the wrong moment leaves a torn file that keeps every worker from starting. Here each file
appears whole by a rename, a message is claimed by a rename, and what is torn is thrown away. That
loses nothing that matters: tasks carry ids only, and sweeps ask the database what is due.
"""

import os
import time
import uuid
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import filesystem
from kombu.utils.encoding import bytes_to_str
from kombu.utils.json import dumps, loads


class Channel(filesystem.Channel):
    """A channel over two folders: messages, and the table of which queue hears which exchange."""

    def _put(self, queue: str, payload: Any, **_: Any) -> None:  # type: ignore[override]  # as kombu's
        name = f"{time.time_ns():020d}_{uuid.uuid4()}.{queue}.msg"
        _write_whole(Path(self.data_folder_out) / name, dumps(payload))

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        folder = Path(self.data_folder_in)
        for name in sorted(os.listdir(folder)):
            if name.partition(".")[2] != f"{queue}.msg":
                continue
            taken = folder / f"{name}.{os.getpid()}.taken"
            try:
                (folder / name).rename(taken)
            except FileNotFoundError:  # another worker was quicker
                continue
            content = taken.read_bytes()
            taken.unlink()
            try:
                return loads(bytes_to_str(content))
            except ValueError:
                continue
        raise Empty

    def get_table(self, exchange: str) -> list[filesystem.exchange_queue_t]:
        try:
            content = self._exchange_file(exchange).read_bytes()
            return [filesystem.exchange_queue_t(*row) for row in loads(bytes_to_str(content))]
        except (FileNotFoundError, ValueError):
            return []

    def _queue_bind(self, exchange: str, routing_key: str, pattern: str, queue: str) -> None:
        row = filesystem.exchange_queue_t(routing_key or "", pattern or "", queue or "")
        table = self.get_table(exchange)
        if row not in table:
            _write_whole(self._exchange_file(exchange), dumps([*table, row]))


class Transport(filesystem.Transport):
    """Takes the place of kombu's own under filesystem:// addresses (see gearroom.celery)."""

    Channel = Channel


def _write_whole(path: Path, text: str) -> None:
    draft = path.with_name(f"{path.name}.{uuid.uuid4()}.draft")
    draft.write_text(text)
    draft.replace(path)
