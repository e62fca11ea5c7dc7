"""Small files of local state."""

import os
from collections.abc import Callable
from pathlib import Path


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
