"""A server that webhooks may go to."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gearroom.core.rules.public_addresses import allowed_inside
from tests.https_server import HttpsServer, certificate


@pytest.fixture
def receiver(
    session_folder: Path, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> Iterator[HttpsServer]:
    """A server that accepts everything."""
    authority, pem = certificate(session_folder)
    monkeypatch.setenv("SSL_CERT_FILE", str(authority))
    server = HttpsServer(pem)
    settings.INTERNAL_HOSTS = allowed_inside([f"localhost:{server.port}"])
    yield server
    server.close()
