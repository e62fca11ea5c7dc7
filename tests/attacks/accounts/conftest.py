"""People of two gear rooms, and the mails that they get."""

from collections.abc import Callable
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import Any

import pytest
from pytest_django import Settings

from gearroom.core.models import Room, User
from gearroom.core.rules.roles import Role
from gearroom.site.mail import account_mail
from tests.core.api.made import a_room, somebody


@pytest.fixture
def store() -> Room:
    return a_room("main-store")


@pytest.fixture
def hut() -> Room:
    return a_room("cave-hut")


@pytest.fixture
def keeper(store: Room) -> User:
    return somebody("keeper", Role.KEEPER, store)


@pytest.fixture
def local(store: Room) -> User:
    """The administrator of one room."""
    return somebody("local", Role.ADMINISTRATOR, store)


@pytest.fixture
def chief() -> User:
    """An administrator of every room."""
    return somebody("chief", Role.ADMINISTRATOR)


@pytest.fixture
def outbox(tmp_path: Path, settings: Settings) -> Callable[[], Any]:
    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"

    def mails() -> list[Any]:
        account_mail.send_changes()
        files = sorted(settings.EMAIL_OUTBOX_DIR.glob("*.eml"))
        return [message_from_bytes(file.read_bytes(), policy=default) for file in files]

    return mails
