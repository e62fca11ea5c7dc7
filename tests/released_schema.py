"""The schema of the last release: `python -m tests.released_schema` keeps the present one as that.

Kept is what programs depend on, without the texts. It is done with each release, once the version
in `SPECTACULAR_SETTINGS` is raised.
"""

import json
import lzma
import os
from pathlib import Path
from typing import Any

from tests.keeper import PROJECT

KEPT = PROJECT / "tests" / "landed" / "schema.json.xz"
_TEXTS = {"description", "summary", "title", "example", "examples", "tags"}


def released(kept: Path = KEPT) -> Any:
    """The document of the last release."""
    return json.loads(lzma.decompress(kept.read_bytes()))


def keep(document: dict[str, Any], kept: Path = KEPT) -> None:
    """Keep this one from now on."""
    text = json.dumps(_without_texts(document), sort_keys=True, separators=(",", ":"))
    kept.write_bytes(lzma.compress(text.encode(), preset=lzma.PRESET_EXTREME))


def _without_texts(value: Any, of_members: bool = False) -> Any:
    if isinstance(value, list):
        return [_without_texts(one) for one in value]
    if not isinstance(value, dict):
        return value
    return {
        name: _without_texts(one, of_members=name == "properties")
        for name, one in value.items()
        if of_members or name not in _TEXTS
    }


def main() -> None:
    """Keep the schema as the program makes it now."""
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gearroom.settings")
    django.setup()
    from gearroom.core.api.openapi.document import document

    keep(json.loads(document().content))


if __name__ == "__main__":
    main()
