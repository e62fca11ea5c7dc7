"""`backup` and `restore`: everything, consistent while others write, and never half of it."""

import io
import json
import sqlite3
import stat
import tarfile
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import connections, transaction
from pytest_django import Settings

from gearroom.core.models import Person, Room
from gearroom.site.ops import backup, serving
from tests.present import present
from tests.program import Server, environment, manage

NOW = datetime(2026, 3, 1, 7, tzinfo=UTC)
sqlite = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)


@pytest.fixture
def home(tmp_path: Path, settings: Settings) -> Any:
    """A data folder in use, with what is and what is not worth keeping."""
    settings.DATA_DIR = tmp_path / "home"
    for name, text in {
        "secret_key": "s3cret",
        "outbox/20260301T070000.000000Z-000000-a.eml": "Subject: x\r\n\r\n",
        "outbox/.half.draft": "Sub",
        "queue/messages/1_x.celery.msg": "{}",
        "serve.lock": "{}",
    }.items():
        (settings.DATA_DIR / name).parent.mkdir(parents=True, exist_ok=True)
        (settings.DATA_DIR / name).write_text(text)
    return settings.DATA_DIR


@pytest.fixture
def elsewhere(
    home: Any,
    settings: Settings,
    use_database: Callable[[str], None],
    make_database: Callable[[], str],
) -> Callable[[], Any]:
    """Then another machine: an empty data folder and an empty database."""

    def move() -> Any:
        settings.DATA_DIR = home.parent / "elsewhere"
        settings.DATA_DIR.mkdir()
        use_database(make_database())
        return settings.DATA_DIR

    return move


@pytest.fixture
def saved(open_database: str, home: Any) -> Any:
    """A backup of one room and one person."""
    Room.objects.create(name="Main store", slug="main")
    Person.objects.create(name="Ailsa")
    file = home.parent / "saved.tar.gz"
    backup.make(file, now=NOW)
    return file


def test_it_brings_everything_back_on_another_machine(
    saved: Any, elsewhere: Callable[[], Any]
) -> None:
    folder = elsewhere()
    backup.restore(saved)
    assert list(Person.objects.values_list("name", flat=True)) == ["Ailsa"]
    kept = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    mail = "outbox/20260301T070000.000000Z-000000-a.eml"
    assert kept - {"serve.lock"} == {"secret_key", mail}
    assert (folder / "secret_key").read_text() == "s3cret"
    assert (folder / mail).read_bytes() == b"Subject: x\r\n\r\n"


def test_it_keeps_what_it_saves_from_other_users_of_the_machine(saved: Any) -> None:
    assert stat.S_IMODE(saved.stat().st_mode) == 0o600


def test_it_saves_one_instant_while_others_write(
    open_database: str, home: Any, elsewhere: Callable[[], Any]
) -> None:
    """Writers add people two at a time; a backup holds both of two or neither."""
    enough, written = threading.Event(), threading.Event()

    def write(number: Any) -> None:
        count = 0
        while not enough.is_set():
            with transaction.atomic():
                Person.objects.create(name=f"{number}-{count}-a")
                Person.objects.create(name=f"{number}-{count}-b")
            count += 1
            written.set()
        connections.close_all()

    writers = [threading.Thread(target=write, args=[number]) for number in range(2)]
    for writer in writers:
        writer.start()
    try:
        assert written.wait(30)
        files = [home.parent / f"{number}.tar.gz" for number in range(3)]
        for file in files:
            backup.make(file, now=NOW)
    finally:
        enough.set()
        for writer in writers:
            writer.join()
    everyone = set(Person.objects.values_list("name", flat=True))
    elsewhere()
    seen = []
    for file in files:
        backup.restore(file, force=True)
        names = set(Person.objects.values_list("name", flat=True))
        assert names <= everyone
        assert {name[:-1] for name in names if name.endswith("a")} == {
            name[:-1] for name in names if name.endswith("b")
        }
        seen.append(len(names))
    assert 0 < seen[0] < seen[2] <= len(everyone)


def test_it_keeps_the_append_only_rules_and_migrations_whole(
    saved: Any, elsewhere: Callable[[], Any]
) -> None:
    elsewhere()
    backup.restore(saved)
    from django.core.management import call_command

    call_command("migrate", "--check", verbosity=0)


def test_it_asks_before_it_replaces_a_database_and_then_replaces_all_of_it(
    saved: Any, elsewhere: Callable[[], Any]
) -> None:
    elsewhere()
    Person.objects.create(name="Only here")
    with pytest.raises(backup.BackupError, match=r"holds 1 person.*--force"):
        backup.restore(saved)
    assert Person.objects.filter(name="Only here").exists()
    backup.restore(saved, force=True)
    assert list(Person.objects.values_list("name", flat=True)) == ["Ailsa"]


def test_it_waits_for_no_running_server(saved: Any, elsewhere: Callable[[], Any]) -> None:
    folder = elsewhere()
    with (
        serving.sole_use(folder, address="port 8000"),
        pytest.raises(backup.BackupError, match="already runs"),
    ):
        backup.restore(saved)
    assert not Person.objects.exists()


def test_it_changes_nothing_while_another_program_has_the_database_open(
    saved: Any, elsewhere: Callable[[], Any]
) -> None:
    elsewhere()
    Person.objects.create(name="Only here")
    opened, done = threading.Event(), threading.Event()

    def look() -> None:
        Person.objects.exists()
        opened.set()
        done.wait(30)
        connections.close_all()

    other = threading.Thread(target=look)
    other.start()
    opened.wait(30)
    try:
        with pytest.raises(backup.BackupError, match=r"Another program|other connections"):
            backup.restore(saved, force=True)
    finally:
        done.set()
        other.join()
    assert Person.objects.filter(name="Only here").exists()


@pytest.mark.parametrize("keep", [0.0, 0.3, 0.9])
@sqlite
def test_it_refuses_a_backup_that_was_cut_short(
    saved: Any, elsewhere: Callable[[], Any], keep: float, engine: str
) -> None:
    whole = saved.read_bytes()
    saved.write_bytes(whole[: int(len(whole) * keep)])
    folder = elsewhere()
    with pytest.raises(backup.BackupError, match="can't be read to its end"):
        backup.restore(saved)
    assert not Person.objects.exists()
    assert not (folder / "secret_key").exists()


def rewrite(file: Any, change: Any) -> None:
    """The archive again, each member as `change(name, content)` has it: (name, content) or None."""
    with tarfile.open(file) as archive:
        members = [(member.name, present(archive.extractfile(member)).read()) for member in archive]
    with tarfile.open(file, "w:gz") as archive:
        for name, content in filter(None, (change(*member) for member in members)):
            member = tarfile.TarInfo(name)
            member.size = len(content)
            archive.addfile(member, io.BytesIO(content))


@sqlite
def test_it_refuses_a_backup_in_which_anything_changed(
    saved: Any, elsewhere: Callable[[], Any], engine: str
) -> None:
    rewrite(saved, lambda name, content: (name, content.replace(b"s3cret", b"S3cret")))
    elsewhere()
    with pytest.raises(backup.BackupError, match="damaged: files/secret_key"):
        backup.restore(saved)


@sqlite
def test_it_refuses_a_backup_that_lacks_a_part(
    saved: Any, elsewhere: Callable[[], Any], engine: str
) -> None:
    rewrite(saved, lambda name, content: None if name == "files/secret_key" else (name, content))
    elsewhere()
    with pytest.raises(backup.BackupError, match="lacks files/secret_key"):
        backup.restore(saved)


@sqlite
def test_it_writes_nothing_outside_the_data_folder(
    saved: Any, elsewhere: Callable[[], Any], engine: str
) -> None:
    evil = "files/../../evil"

    def change(name: Any, content: Any) -> tuple[Any, Any]:
        if name == backup.MANIFEST:
            return name, content.replace(b"files/secret_key", evil.encode())
        return (evil if name == "files/secret_key" else name), content

    rewrite(saved, change)
    folder = elsewhere()
    with pytest.raises(backup.BackupError, match="evil"):
        backup.restore(saved)
    assert not list(folder.parent.rglob("evil"))


def change_manifest(**values: Any) -> Callable[[Any, Any], Any]:
    def change(name: Any, content: Any) -> tuple[Any, Any]:
        if name == backup.MANIFEST:
            content = json.dumps({**json.loads(content), **values}).encode()
        return name, content

    return change


@sqlite
@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"engine": "postgresql"}, "is of a postgresql database"),
        ({"migrations": ["core.0099_later"]}, "newer program .core.0099_later"),
        ({"version": 2}, "newer program"),
        ({"format": "other"}, "no manifest"),
        ({"parts": "x"}, "no manifest"),
    ],
)
def test_it_refuses_what_does_not_fit_and_says_why(
    saved: Any,
    elsewhere: Callable[[], Any],
    engine: str,
    values: dict[str, str] | dict[str, list[str]] | dict[str, int],
    says: str,
) -> None:
    rewrite(saved, change_manifest(**values))
    elsewhere()
    with pytest.raises(backup.BackupError, match=says):
        backup.restore(saved)


@sqlite
def test_it_replaces_a_backup_but_no_other_file(
    saved: Any, home: Any, elsewhere: Callable[[], Any], engine: str
) -> None:
    Person.objects.create(name="Bea")
    backup.make(saved, now=NOW)
    for file in (home / "secret_key", home.parent / "notes.txt"):
        file.write_text("precious")
        with pytest.raises(backup.BackupError, match="is no backup"):
            backup.make(file, now=NOW)
        assert file.read_text() == "precious"
    elsewhere()
    backup.restore(saved)
    assert Person.objects.count() == 2


@sqlite
def test_it_brings_a_broken_database_back(
    saved: Any, elsewhere: Callable[[], Any], own_database: str, engine: str, tmp_path: Path
) -> None:
    folder = elsewhere()
    connections.close_all()
    target = folder / "gearroom.sqlite3"
    target.write_bytes(b"SQLite format 3\0" + b"rubbish" * 2000)
    env = environment(folder)
    refused = manage("restore", str(saved), env=env, check=False)
    assert refused.returncode == 1
    assert "holds something that can't be read" in refused.stderr
    manage("restore", str(saved), "--force", env=env)
    with sqlite3.connect(target) as database:
        assert database.execute("SELECT name FROM core_person").fetchall() == [("Ailsa",)]


def test_it_saves_a_running_server_and_restores_it_by_command(
    server: Server, make_server: Callable[..., Server], tmp_path: Path
) -> None:
    file = tmp_path / "saved.tar.gz"
    said = server.manage("backup", str(file)).stdout
    assert str(file) in said
    running = server.manage("restore", str(file), check=False)
    assert running.returncode == 1
    assert "already runs over" in running.stderr
    server.stop()
    server.manage("restore", str(file))
    server.start()
    assert server.get("/health/")[0] == 200


def test_it_says_what_is_missing(open_database: str, tmp_path: Path, home: Any) -> None:
    with pytest.raises(backup.BackupError, match="There is no file"):
        backup.restore(tmp_path / "none.tar.gz")
    with pytest.raises(backup.BackupError, match="There is no folder"):
        backup.make(tmp_path / "none" / "x.tar.gz", now=NOW)


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_it_says_which_program_it_needs(
    engine: str, open_database: str, home: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(home))
    with pytest.raises(backup.BackupError, match="pg_dump is not installed"):
        backup.make(home.parent / "x.tar.gz", now=NOW)
