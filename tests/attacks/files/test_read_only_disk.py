"""A disk that takes nothing is said as such, by API and pages: no traceback, and what can be read
is read."""

import errno
import os
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.cache import cache
from django.test import Client

from gearroom.core.acts import key_locks
from gearroom.core.models import KeptAnswer, Room, User
from gearroom.core.rules.roles import Role
from tests.core.api.made import Caller, a_room, is_problem, somebody
from tests.program import environment, manage

ROOM = {"name": "Cave hut", "slug": "cave-hut"}


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Callable[[Any], None]:
    """disk(number): from now on the data folder takes nothing more, with this error number."""

    def breaks(number: Any) -> None:
        def refused(path: Any, *args: Any, **kwargs: Any) -> int:
            if str(path).startswith(str(settings.DATA_DIR)):
                raise OSError(number, os.strerror(number), str(path))
            return opened(path, *args, **kwargs)

        opened = os.open
        monkeypatch.setattr(os, "open", refused)
        monkeypatch.setattr(key_locks, "_file", None)

    return breaks


@pytest.mark.django_db
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("number", "status", "code"),
    [
        (errno.EROFS, 503, "read-only"),
        (errno.EACCES, 503, "read-only"),
        (errno.EPERM, 503, "read-only"),
        (errno.ENOSPC, 507, "storage-full"),
        (errno.EIO, 503, "no-database"),
    ],
)
def test_a_write_says_what_keeps_it_and_a_read_goes_on(
    disk: Callable[[Any], None],
    caplog: pytest.LogCaptureFixture,
    number: int,
    status: int,
    code: str,
) -> None:
    cache.clear()
    a_room()
    user = somebody("admin", Role.ADMINISTRATOR)
    caller, client = Caller(user), Client()
    client.force_login(User.objects.get(pk=user.pk))
    disk(number)

    is_problem(caller.post("rooms/", ROOM), status, code)
    page = client.post("/rooms/", {"key": str(uuid.uuid4()), "name": "Cave hut"})
    assert page.status_code == status and b"<main" in page.content
    assert caller.get("rooms/").status_code == client.get("/rooms/").status_code == 200
    assert not any(record.exc_info for record in caplog.records)
    assert Room.objects.count() == 1 and not KeptAnswer.objects.exists()


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_a_backup_of_what_cannot_be_read_says_so(engine: str, tmp_path: Path) -> None:
    database = tmp_path / "gearroom.sqlite3"
    database.write_bytes(b"no database " * 1000)
    env = environment(tmp_path, DATABASE_URL=f"sqlite:///{database}")
    done = manage("backup", str(tmp_path / "backup.tar.gz"), env=env, check=False)
    assert done.returncode and "Traceback" not in done.stderr
    assert "not a database" in done.stderr
