"""Languages: the one that somebody chose, and translations compiled where the program runs, in
plain Python: nobody needs the gettext tools.

`locale/LANGUAGE/LC_MESSAGES/django.po` is what people write; gettext reads the compiled form
(GNU gettext manual, "The Format of GNU MO Files"). It is made in the data folder when it is missing
or older than its source, and put in place in one move, so that processes that start at the same
time do not see half of it.
"""

import os
import tempfile
from pathlib import Path

import polib
from django.conf import settings
from django.utils import translation


def compiled(source: Path, target: Path) -> Path:
    """Compile every language of `source` into `target`, where needed; `target` is for
    LOCALE_PATHS."""
    for po in sorted(source.glob("*/LC_MESSAGES/*.po")):
        mo = target / po.relative_to(source).with_suffix(".mo")
        if mo.exists() and mo.stat().st_mtime_ns == po.stat().st_mtime_ns:
            continue
        mo.parent.mkdir(parents=True, exist_ok=True)
        handle, draft = tempfile.mkstemp(dir=mo.parent, suffix=".new")
        with os.fdopen(handle, "wb") as file:
            file.write(polib.pofile(str(po)).to_binary())
        stat = po.stat()
        os.utime(draft, ns=(stat.st_atime_ns, stat.st_mtime_ns))
        Path(draft).replace(mo)
    return target


def speak(chosen: str) -> None:
    """Go on in the language that somebody chose, until the request ends; with none, or one that is
    not spoken here, in the one that their browser asks for."""
    if chosen in dict(settings.LANGUAGES):
        translation.activate(chosen)
