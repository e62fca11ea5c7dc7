"""What tests need of Debian's and npm's packages."""

import ctypes.util
import shutil

import pytest

from tests import keeper


def _installed(package: str) -> str | None:
    """Where a Debian package's program or library, or an npm package, is here, or None."""
    match package:
        case "axe-core" | "barcode-detector":
            folder = keeper.PROJECT / "node_modules" / package
            return str(folder) if folder.exists() else None
        case "postgresql":
            programs = keeper.postgresql_programs()
            return str(programs) if programs else None
        case "redis-server":
            return shutil.which("redis-server")
        case "chromium":
            names = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
            return next(filter(None, map(shutil.which, names)), None)
        case "libzbar0":
            return ctypes.util.find_library("zbar")
    raise ValueError(f"{package!r} is no package that tests may need")


def need(package: str) -> str:
    """Where its program or library is; skips (in CI: fails) where the package is missing."""
    place = _installed(package)
    if place is None and package in ("axe-core", "barcode-detector"):
        pytest.skip(f"needs npm's {package}: npm ci")
    if place is None:
        pytest.skip(f"needs Debian's {package}: apt-get install {package}")
    return place
