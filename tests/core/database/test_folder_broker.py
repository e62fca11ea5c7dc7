"""Tasks queued in a folder: whole, once each, and never stuck on what a power cut left."""

import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Empty
from typing import Any

import pytest
from kombu import Connection, Exchange, Queue

from gearroom.core.setup import folder_broker


@pytest.fixture
def folders(tmp_path: Path) -> dict[str, Path]:
    made = {name: tmp_path / name for name in ("messages", "control")}
    for folder in made.values():
        folder.mkdir()
    return made


@pytest.fixture
def name() -> str:
    """A queue of this test's own: a process remembers which queues it has bound already."""
    return f"work-{uuid.uuid4()}"


@pytest.fixture
def connect(folders: dict[str, Path], name: str) -> Iterator[Callable[[], Any]]:
    """A fresh connection, as each process has."""
    opened = []

    def connect() -> Any:
        connection = Connection(
            "filesystem://localhost/",
            transport_options={
                "data_folder_in": str(folders["messages"]),
                "data_folder_out": str(folders["messages"]),
                "control_folder": str(folders["control"]),
            },
        )
        assert isinstance(connection.transport, folder_broker.Transport)
        opened.append(connection)
        queue = Queue(name, Exchange(name, "direct"), routing_key=name)
        return connection.SimpleQueue(queue, no_ack=True)

    yield connect
    for connection in opened:
        connection.release()


def test_it_hands_over_messages_in_the_order_they_were_put(connect: Callable[[], Any]) -> None:
    sender, receiver = connect(), connect()
    for number in range(20):
        sender.put({"number": number})
    assert [receiver.get_nowait().payload["number"] for _ in range(20)] == list(range(20))
    with pytest.raises(Empty):
        receiver.get_nowait()


def test_it_throws_torn_messages_away_and_goes_on(
    connect: Callable[[], Any], folders: dict[str, Path], name: str
) -> None:
    sender, receiver = connect(), connect()
    (folders["messages"] / f"0_half.{name}.msg").write_text('{"bo')
    (folders["messages"] / f"1_empty.{name}.msg").write_text("")
    sender.put({"number": 1})
    assert receiver.get_nowait().payload == {"number": 1}
    with pytest.raises(Empty):
        receiver.get_nowait()
    assert list(folders["messages"].iterdir()) == []


def test_it_writes_a_torn_table_anew(
    connect: Callable[[], Any], folders: dict[str, Path], name: str
) -> None:
    (folders["control"] / f"{name}.exchange").write_text("[[")
    sender, receiver = connect(), connect()
    sender.put({"number": 1})
    assert receiver.get_nowait().payload == {"number": 1}


def test_it_gives_each_message_to_one_of_many_workers(connect: Callable[[], Any]) -> None:
    sender = connect()
    for number in range(200):
        sender.put({"number": number})
    receivers = [connect() for _ in range(4)]

    def drain(receiver: Any) -> list[Any]:
        taken = []
        while True:
            try:
                taken.append(receiver.get_nowait().payload["number"])
            except Empty:
                return taken

    with ThreadPoolExecutor(4) as pool:
        taken = [number for part in pool.map(drain, receivers) for number in part]
    assert sorted(taken) == list(range(200))
