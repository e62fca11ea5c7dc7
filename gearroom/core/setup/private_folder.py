"""The data folder, for nobody but its owner: it holds personal names, the stock book and keys.

One place makes it so, when settings are read: by every command, server and worker. What is made
from then on is private (umask 077); what lies there already is made private, however it came.
"""

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

FOLDER_MODE = 0o700
OTHERS = 0o077
"""The bits that let group and all others in."""

_OURS = frozenset(
    {"secret_key", "gearroom.sqlite3", "outbox", "queue", "tls", "demo", "claims", "serve.lock"}
)
"""Names of which one at least is in a data folder that was in use before."""
_NEUTRAL = frozenset({"locale", "lost+found"})


def data_folder(path: Path) -> Path:
    """The folder of all local state, made where it is not there yet, private with all that is in
    it. Raises ImproperlyConfigured where it cannot be made, or is others' too.

    Of a file system that may only be read, and of what belongs to another user, nothing is changed:
    what can be read there is still served.
    """
    os.umask(OTHERS)
    with writing(path):
        path.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
    if _is_shared(path):
        raise ImproperlyConfigured(
            f"{path} contains other files or is open to everybody, but the data folder must be"
            f" private. Set GEARROOM_DATA_DIR to a folder of its own, such as {path / 'gearroom'}."
        )
    make_private(path)
    for folder, folders, files in os.walk(path):
        for name in (*folders, *files):
            make_private(Path(folder, name))
    return path


def make_private(path: Path) -> None:
    """Take from everybody but the owner what they may do with a file or folder. Links are left as
    they are, and so is what goes away meanwhile or may not be changed."""
    with suppress(OSError):
        mode = path.lstat().st_mode
        if mode & OTHERS and (stat.S_ISDIR(mode) or stat.S_ISREG(mode)):
            path.chmod(stat.S_IMODE(mode) & ~OTHERS)


def write_once(path: Path, make: Callable[[], str]) -> str:
    """The text of a file, made by `make` if it is not there; of several makers at once one wins."""
    if not path.exists():
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        draft.touch(mode=0o600)
        draft.write_text(make())
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
        finally:
            draft.unlink()
    return path.read_text().strip()


def database_files(name: str) -> Iterator[Path]:
    """The file of an SQLite database and what SQLite keeps beside it."""
    return (Path(f"{name}{suffix}") for suffix in ("", "-wal", "-shm", "-journal"))


@contextmanager
def writing(folder: Path) -> Iterator[None]:
    """What is done in the block needs to write to the data folder; where that fails, say so as
    ImproperlyConfigured."""
    try:
        yield
    except OSError as error:
        raise ImproperlyConfigured(
            f"The data folder {folder} cannot be written to ({error.strerror or error}). Make "
            "the user that runs Gearroom its owner, or set GEARROOM_DATA_DIR to another folder."
        ) from error


def _is_shared(path: Path) -> bool:
    """Whether others have things in a folder that is not private yet. One in use before is ours,
    whatever somebody put beside."""
    mode = path.stat().st_mode
    if not mode & OTHERS:
        return False
    if mode & stat.S_ISVTX:
        return True
    entries = list(os.scandir(path))
    if any(entry.name in _OURS for entry in entries):
        return False
    return any(
        entry.is_dir() and entry.name not in _NEUTRAL and not entry.name.startswith(".")
        for entry in entries
    )
