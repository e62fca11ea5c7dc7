"""Archives that are no backup of ours, given to `restore`: each is refused, and changes nothing."""

import hashlib
import io
import json
import tarfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pytest_django import Settings

from gearroom.core.models import Person
from gearroom.site.ops import backup
from tests.present import present
from tests.site.ops.test_backup import elsewhere, home, saved

__all__ = ["elsewhere", "home", "saved"]  # fixtures
sqlite = pytest.mark.parametrize("engine", ["sqlite"], indirect=True)


def with_part(
    file: Any, name: str, content: bytes = b"evil", kind: bytes | None = None, listed: bool = True
) -> None:
    """The archive with one more member that its manifest lists as it is."""
    with tarfile.open(file) as archive:
        members = [(member.name, present(archive.extractfile(member)).read()) for member in archive]
    manifest = json.loads(members[0][1])
    if listed:
        digest = hashlib.sha256(content).hexdigest()
        manifest["parts"].append({"name": name, "size": len(content), "sha256": digest})
    members[0] = (backup.MANIFEST, json.dumps(manifest).encode())
    with tarfile.open(file, "w:gz") as archive:
        for each, text in members:
            info = tarfile.TarInfo(each)
            info.size = len(text)
            archive.addfile(info, io.BytesIO(text))
        info = tarfile.TarInfo(name)
        if kind is None:
            info.size = len(content)
        else:
            info.type, info.linkname = kind, "/etc/passwd"
        archive.addfile(info, io.BytesIO(content))


@sqlite
@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "/",
        "files",
        "files/",
        "files//x",
        "files/./x",
        "files/../x",
        "/files/x",
        "files/.hidden",
        "files/.restore-x/y",
        "files/serve.lock",
        "files/queue/messages/1.msg",
        "files/book.sqlite3",
        "files/book.sqlite3-wal",
        "files/./book.sqlite3",
        "files/a\nb",
        "files/a\\..\\b",
        "other/x",
        "manifest.json",
    ],
)
def test_a_part_that_no_backup_has_is_refused(
    saved: Any,
    elsewhere: Callable[[], Any],
    settings: Settings,
    use_database: Callable[[str], None],
    make_database: Callable[[], str],
    name: str,
    engine: str,
    tmp_path: Path,
) -> None:
    folder = elsewhere()
    # The database where it lies by itself: in the data folder.
    import shutil

    book = folder / "book.sqlite3"
    shutil.copyfile(make_database().removeprefix("sqlite:///"), book)
    use_database(f"sqlite:///{book}")
    Person.objects.create(name="Only here")
    with_part(saved, name)

    with pytest.raises(backup.BackupError, match="is no place for a file of a backup"):
        backup.restore(saved, force=True)

    assert list(Person.objects.values_list("name", flat=True)) == ["Only here"]
    assert not [
        path for path in folder.rglob("*") if path.is_file() and b"evil" in path.read_bytes()
    ]


@sqlite
@pytest.mark.parametrize(
    "kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.CHRTYPE, tarfile.DIRTYPE]
)
def test_a_member_that_is_no_file_is_refused(
    saved: Any, elsewhere: Callable[[], Any], kind: bytes, engine: str
) -> None:
    folder = elsewhere()
    with_part(saved, "files/x", kind=kind)
    with pytest.raises(backup.BackupError, match="files/x"):
        backup.restore(saved)
    assert not (folder / "x").exists()


@sqlite
def test_a_member_that_the_manifest_does_not_list_is_refused(
    saved: Any, elsewhere: Callable[[], Any], engine: str
) -> None:
    elsewhere()
    with_part(saved, "files/x", listed=False)
    with pytest.raises(backup.BackupError, match="which its manifest does not"):
        backup.restore(saved)


@sqlite
def test_a_part_listed_twice_is_refused(
    saved: Any, elsewhere: Callable[[], Any], engine: str
) -> None:
    elsewhere()
    with_part(saved, "files/secret_key", b"s3cret")
    with pytest.raises(backup.BackupError, match="twice"):
        backup.restore(saved)


@sqlite
@pytest.mark.parametrize(
    "parts", [[{"name": 7, "size": 1, "sha256": ""}], [{"name": None}], [[]], {}, None, [1]]
)
def test_a_senseless_manifest_is_refused(
    saved: Any, elsewhere: Callable[[], Any], parts: Any, engine: str
) -> None:
    from tests.site.ops.test_backup import change_manifest, rewrite

    rewrite(saved, change_manifest(parts=parts))
    elsewhere()
    with pytest.raises(backup.BackupError):
        backup.restore(saved)
