"""Nobody else on the machine reads the database, keys, mails or photos."""

import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ImproperlyConfigured

from gearroom.core.setup.private_folder import data_folder
from tests.program import Server, environment, manage

sqlite = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)


@pytest.fixture(autouse=True)
def as_a_login_has_it() -> Iterator[None]:
    """The umask that most systems give people, under which others may read."""
    before = os.umask(0o022)
    yield
    os.umask(before)


def open_to_others(folder: Path) -> list[Any]:
    """What group or others may do anything with, in a folder and with itself."""
    return sorted(
        f"{path.relative_to(folder.parent)} {stat.S_IMODE(path.lstat().st_mode):o}"
        for path in (folder, *folder.rglob("*"))
        if path.lstat().st_mode & 0o077 and not path.is_symlink()
    )


@pytest.mark.server
@sqlite
def test_a_server_keeps_all_that_it_makes_from_others(
    make_server: Callable[..., Server], engine: str
) -> None:
    server = make_server()
    server.env = environment(server.folder)
    server.folder.chmod(0o755)
    server.start()
    assert server.manage("send_digests").returncode == 0
    assert (server.folder / "gearroom.sqlite3-wal").exists()
    assert open_to_others(server.folder) == []


@sqlite
def test_what_was_open_to_others_before_is_closed_to_them_by_any_command(
    tmp_path: Path, engine: str
) -> None:
    folder, elsewhere = tmp_path / "data", tmp_path / "elsewhere"
    for place in ("outbox", "tls", "photos/2026"):
        (folder / place).mkdir(parents=True)
        (folder / place / "file").write_text("a name")
    elsewhere.mkdir()
    (folder / "secret_key").write_text("k3y-" * 20 + "random")
    for suffix in ("", "-wal", "-shm"):
        (elsewhere / f"book.sqlite3{suffix}").touch()
    env = environment(folder, DATABASE_URL=f"sqlite:///{elsewhere}/book.sqlite3")

    manage("check", env=env)

    assert open_to_others(folder) == []
    assert [name for name in open_to_others(elsewhere) if "book" in name] == []
    assert stat.S_IMODE(elsewhere.stat().st_mode) == 0o755, "others' folder is not ours to close"


def test_a_link_in_the_data_folder_closes_nothing_elsewhere(tmp_path: Path) -> None:
    theirs = tmp_path / "theirs"
    theirs.write_text("for all")
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "link").symlink_to(theirs)
    data_folder(folder)
    assert stat.S_IMODE(theirs.stat().st_mode) == 0o644


def test_a_folder_that_others_use_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    shared, system = tmp_path / "shared", tmp_path / "system"
    (system / "lib").mkdir(parents=True)
    shared.mkdir()
    shared.chmod(0o1777)
    for folder in (shared, system):
        mode = folder.stat().st_mode
        with pytest.raises(ImproperlyConfigured, match="Set GEARROOM_DATA_DIR to a folder of its"):
            data_folder(folder)
        assert folder.stat().st_mode == mode


def test_a_data_folder_in_use_stays_one_whatever_is_put_beside(tmp_path: Path) -> None:
    (tmp_path / "backups").mkdir()
    (tmp_path / "secret_key").touch()
    data_folder(tmp_path)
    assert open_to_others(tmp_path) == []


def test_where_nothing_can_be_made_it_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(ImproperlyConfigured, match="cannot be written to"):
        data_folder(Path(tmp_path, "file", "data"))
