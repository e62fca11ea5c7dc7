"""Each webhook is sent to by one thread, and none waits for another."""

import socket
import threading
from typing import Any

import pytest

from gearroom.core.rules.public_addresses import allowed_inside
from kits.models import Webhook
from kits.services.webhooks import sending, threads
from tests.https_server import HttpsServer
from tests.kits.webhooks.making import came, ids, made, written
from tests.waiting import until


def is_sent_to(webhook: Webhook) -> bool:
    """Whether a thread of this process sends to it."""
    return any(thread.name == f"webhook {webhook.pk}" for thread in threading.enumerate())


def test_a_server_that_hangs_keeps_no_other_waiting(
    open_database: str, receiver: HttpsServer, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sending, "REQUEST_SECONDS", 2.0)
    with socket.create_server(("127.0.0.1", 0)) as hanging_server:
        port = hanging_server.getsockname()[1]
        settings.INTERNAL_HOSTS = allowed_inside(
            [f"localhost:{receiver.port}", f"localhost:{port}"]
        )
        hanging, _secret = made(port)
        live, secret = made(receiver.port, name="Bo")
        events = written(3)
        threads.start_due()
        until(lambda: len(receiver.requests) == 3, "the live one got everything")
        assert came(receiver, secret) == ids(events) and is_sent_to(hanging)
        until(lambda: not is_sent_to(hanging) and not is_sent_to(live), "all have ended")
    hanging.refresh_from_db()
    assert hanging.tries == 1 and hanging.attempts.get().failure == "too-slow"


def test_what_another_process_sends_to_is_left_to_it(
    open_database: str, receiver: HttpsServer
) -> None:
    webhook, _secret = made(receiver.port)
    written(1)
    with sending.lock(webhook.pk):
        threads.start_due()
        pause = threading.Event()
        until(lambda: not is_sent_to(webhook), "the thread has ended")
        for _look in range(20):
            pause.wait(0.01)
            assert not is_sent_to(webhook)
    assert not receiver.requests
