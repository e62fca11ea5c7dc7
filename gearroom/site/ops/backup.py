"""Everything that this installation holds in one file, and back.

A backup is a tar archive (gzip): `manifest.json`, the database as `database.…`, and the files of
the data folder below `files/`. The manifest lists each with its size and SHA-256; nothing is put
back before all of them are found as listed.
"""

import hashlib
import io
import json
import os
import shutil
import tarfile
import tempfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path, PurePath, PurePosixPath
from typing import Any, Self

from django.apps import apps
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader

from gearroom.core.setup.private_folder import database_files
from gearroom.site.ops import dumps, serving

FORMAT = "gearroom-backup"
VERSION = 1
MANIFEST = "manifest.json"
MOST_MANIFEST_BYTES = 64 * 1024 * 1024
FILES = "files"
# Not kept: what is queued (sweeps find it in the database), what only the running server needs.
LEFT_OUT = {"queue", serving.LOCK_FILE}


class BackupError(Exception):
    """A backup that can't be made or put back; the message says why and what to do."""


@dataclass(frozen=True)
class Part:
    """One member of the archive: its name there, bytes, and SHA-256 in hexadecimal."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """What a backup holds. `migrations` are those applied, as "app.name"."""

    made_at: str
    engine: str
    migrations: list[str]
    parts: list[Part]

    def as_json(self) -> bytes:
        content = {"format": FORMAT, "version": VERSION, **asdict(self)}
        return json.dumps(content, indent=1).encode() + b"\n"

    @classmethod
    def from_json(cls, text: bytes) -> Self:
        """Raises ValueError, KeyError or TypeError for what is no manifest."""
        content = json.loads(text)
        if content.pop("format") != FORMAT:
            raise ValueError("format")
        if content.pop("version") != VERSION:
            raise BackupError("This backup was made by a newer program. Restore it with that one.")
        content["parts"] = [Part(**part) for part in content["parts"]]
        return cls(**content)


# -------------------------------------------------------------------------------------------- make
def make(file: Path, *, now: datetime) -> Manifest:
    """Write a backup to `file`, which appears whole or not at all; readable by its owner only.

    Raises BackupError, for one thing when `file` is there and is no backup.
    """
    if file.exists() and file.stat().st_size and not _is_backup(file):
        raise BackupError(f"{file} is there already and is no backup. Choose another name.")
    if not file.parent.is_dir():
        raise BackupError(f"There is no folder {file.parent}.")
    try:
        with tempfile.TemporaryDirectory(dir=file.parent, prefix=".backup-") as folder:
            database = Path(folder) / dumps.NAMES[connection.vendor]
            dumps.save(database)
            sources = {database.name: database, **_copied(Path(folder) / FILES)}
            draft = Path(folder) / "draft"
            manifest = _write(draft, sources, now)
            draft.replace(file)
    except dumps.DumpError as problem:
        raise BackupError(str(problem)) from problem
    return manifest


def _copied(folder: Path) -> dict[str, Path]:
    """Copies of the data folder's files, which may still grow, by their names in the archive."""
    copies = {}
    for path in _local_files():
        name = PurePosixPath(FILES, path.relative_to(settings.DATA_DIR).as_posix())
        copy = folder.parent / name
        copy.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileNotFoundError):  # taken away meanwhile
            shutil.copyfile(path, copy)
            copies[str(name)] = copy
    return copies


def _local_files() -> Iterator[Path]:
    """The data folder's files, less the database's own, other backups and what is passing."""
    root = settings.DATA_DIR
    for path in sorted(root.rglob("*")):
        kept = _is_kept(path.relative_to(root)) and path.is_file() and not path.is_symlink()
        if kept and not _is_backup(path):
            yield path


def _is_kept(path: PurePath) -> bool:
    """Whether a file at this path in the data folder is one that backups hold: none that is
    passing, and not the database, which is kept apart."""
    if path.parts[0] in LEFT_OUT or any(part.startswith(".") for part in path.parts):
        return False
    if connection.vendor != "sqlite":
        return True
    database = connection.settings_dict["NAME"]
    return settings.DATA_DIR / path not in {*database_files(database), *dumps.drafts(database)}


def _write(draft: Path, sources: Mapping[str, Path], now: datetime) -> Manifest:
    parts = [Part(name, path.stat().st_size, _sha256_of(path)) for name, path in sources.items()]
    migrations = sorted(map(".".join, MigrationLoader(connection).applied_migrations))
    manifest = Manifest(now.isoformat(), connection.vendor, migrations, parts)

    def entry(name: str, size: int) -> tarfile.TarInfo:
        info = tarfile.TarInfo(name)
        info.size, info.mtime, info.mode = size, int(now.timestamp()), 0o600
        return info

    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as out:
        with tarfile.open(fileobj=out, mode="w:gz", compresslevel=6) as archive:
            text = manifest.as_json()
            archive.addfile(entry(MANIFEST, len(text)), io.BytesIO(text))
            for part in parts:
                with sources[part.name].open("rb") as content:
                    archive.addfile(entry(part.name, part.size), content)
        out.flush()
        os.fsync(out.fileno())
    return manifest


def _sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _is_backup(file: Path) -> bool:
    try:
        with tarfile.open(file, "r:gz") as archive:
            first = archive.next()
            return first is not None and first.name == MANIFEST
    except (OSError, tarfile.TarError, EOFError, zlib.error):
        return False


# ----------------------------------------------------------------------------------------- restore
def restore(file: Path, *, force: bool = False) -> Manifest:
    """Put a backup back: database and files, then the migrations it does not have yet.

    Raises BackupError, with nothing changed, when the backup is not whole, is for another engine
    or a newer program, when a server runs, or when there is something here and not `force`.
    """
    with tempfile.TemporaryDirectory(dir=settings.DATA_DIR, prefix=".restore-") as folder:
        manifest = _unpack(file, Path(folder))
        _refuse_what_does_not_fit(manifest)
        try:
            with serving.sole_use(settings.DATA_DIR, address="(a restore)"):
                _refuse_to_overwrite(force)
                dumps.load(Path(folder) / dumps.NAMES[manifest.engine])
                _put_back(manifest, Path(folder))
        except (dumps.DumpError, serving.AlreadyRunning) as problem:
            raise BackupError(str(problem)) from problem
    return manifest


def _unpack(file: Path, folder: Path) -> Manifest:
    """Every part as the manifest lists it, below `folder`; or BackupError."""
    try:
        with tarfile.open(file, "r:gz") as archive:
            members = iter(archive)
            manifest = _manifest_in(file, archive, next(members, None))
            expected = {part.name: part for part in manifest.parts}
            for member in members:
                _extract(file, archive, member, expected.pop(member.name, None), folder)
    except FileNotFoundError as problem:
        raise BackupError(f"There is no file {file}.") from problem
    except (OSError, tarfile.TarError, EOFError, zlib.error) as problem:
        raise BackupError(f"{file} can't be read to its end, or is no backup: {problem}.") from None
    except (ValueError, KeyError, TypeError, AttributeError) as problem:
        raise BackupError(f"{file} has no manifest that can be read.") from problem
    if expected:
        raise BackupError(f"{file} lacks {', '.join(sorted(expected))}.")
    return manifest


def _manifest_in(file: Path, archive: tarfile.TarFile, first: tarfile.TarInfo | None) -> Manifest:
    """The manifest that is an archive's first member; or BackupError, for one thing where it names
    a part twice or in a place that none has."""
    text = archive.extractfile(first) if first and first.name == MANIFEST else None
    if text is None:
        raise BackupError(f"{file} is no backup of this program.")
    manifest = Manifest.from_json(text.read(MOST_MANIFEST_BYTES))
    names = [part.name for part in manifest.parts]
    if len(set(names)) < len(names):
        raise BackupError(f"The manifest of {file} lists a part twice.")
    if unsafe := [name for name in names if not _is_name_of_part(name)]:
        raise BackupError(f"{file} holds {unsafe[0]!r}, which is no place for a file of a backup.")
    return manifest


def _extract(
    file: Path,
    archive: tarfile.TarFile,
    member: tarfile.TarInfo,
    part: Part | None,
    folder: Path,
) -> None:
    """Write a member below `folder`, once it is as the manifest lists it; or BackupError."""
    content = archive.extractfile(member) if member.isreg() else None
    if part is None or content is None:
        raise BackupError(f"{file} holds {member.name!r}, which its manifest does not.")
    path = folder / part.name
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as out:
        shutil.copyfileobj(content, out, 1 << 20)
    if (path.stat().st_size, _sha256_of(path)) != (part.size, part.sha256):
        raise BackupError(f"{file} is damaged: {part.name} is not as it was saved.")


def _is_name_of_part(name: str) -> bool:
    """Whether a backup may hold a part of this name: the database, or a file that one would keep,
    under its plain name and below the data folder."""
    if name in dumps.NAMES.values():
        return True
    folder, *inside = name.split("/")
    if folder != FILES or not inside or not name.isprintable():
        return False
    plain = all(part not in ("", ".", "..") and "\\" not in part for part in inside)
    return plain and _is_kept(PurePath(*inside))


def _refuse_what_does_not_fit(manifest: Manifest) -> None:
    if manifest.engine != connection.vendor:
        raise BackupError(
            f"This backup is of a {manifest.engine} database, and DATABASE_URL names a "
            f"{connection.vendor} one. Restore it where the engine is the same."
        )
    known = set(map(".".join, MigrationLoader(None).disk_migrations))
    if unknown := set(manifest.migrations) - known:
        raise BackupError(
            f"This backup was made by a newer program ({min(unknown)} is not known here). "
            "Update this one first."
        )
    if all(part.name != dumps.NAMES[manifest.engine] for part in manifest.parts):
        raise BackupError("This backup holds no database.")


def _refuse_to_overwrite(force: bool) -> None:
    if others := dumps.others_connected():
        raise BackupError(
            f"{others} other connections use the database. Stop web, worker and scheduler first."
        )
    if not force and (result := what_is_here()):
        raise BackupError(f"This database holds {result}. Add --force to replace it, for ever.")


def what_is_here() -> str:
    """What a restore would overwrite, for example "3 users", or "" for a database without any."""
    models: list[Any] = [apps.get_model(name) for name in ("core.User", "core.Person", "core.Room")]
    try:
        tables = set(connection.introspection.table_names())
        counts = [
            f"{count} {model._meta.verbose_name_plural}"
            for model in models
            if model._meta.db_table in tables and (count := model._base_manager.count())
        ]
    except DatabaseError:
        return "something that can't be read"
    return ", ".join(counts)


def _put_back(manifest: Manifest, folder: Path) -> None:
    for part in manifest.parts:
        path = PurePosixPath(part.name)
        if path.parts[0] != FILES:
            continue
        target = settings.DATA_DIR.joinpath(*path.parts[1:])
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        source = folder / part.name
        source.chmod(0o600)
        source.replace(target)
