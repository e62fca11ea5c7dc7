"""Sending to several webhooks side by side, each in a thread of its own, so that a server that is
slow or dead keeps nobody waiting: neither other webhooks nor the worker's other tasks."""

import logging
import threading

from django.db import connections

from gearroom.core import clock
from kits.models import Webhook
from kits.services.events import horizon
from kits.services.webhooks import sending

log = logging.getLogger(__name__)

MOST = 8
"""Threads of one process."""

_running: set[int] = set()
_guard = threading.Lock()


def start_due() -> None:
    """Have a thread send to each webhook that is due, as far as there are threads; the others come
    as soon as one of them ends."""
    for webhook in Webhook.objects.due(clock.now(), horizon()).values_list("pk", flat=True):
        with _guard:
            if len(_running) >= MOST:
                return
            if webhook in _running:
                continue
            _running.add(webhook)
        # A thread that is cut off with its process leaves nothing behind: what it had not noted
        # is sent again.
        name = f"webhook {webhook}"
        threading.Thread(target=_send, args=[webhook], name=name, daemon=True).start()


def _send(webhook: int) -> None:
    try:
        try:
            accepted = sending.send(webhook)
        finally:
            with _guard:
                _running.discard(webhook)
        # Where another process sends to it, that one looks what is due once it is done.
        if accepted is not None:
            start_due()
    except Exception:  # the next sweep tries again
        log.exception("Webhook %s could not be sent to", webhook)
    finally:
        connections.close_all()
