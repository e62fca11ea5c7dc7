"""Makes the pictures of the help pages anew: `python -m tests.help_pictures [LANGUAGE…]`.

Loads the invented school into a folder of its own, serves it, goes through its pages in Debian's
Chromium as the demonstration's user, and writes `gearroom/site/static/site/help/LANGUAGE/*.webp`,
some ten kilobytes each. Give languages to make only theirs.
"""

import io
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import ViewportSize

PROJECT = Path(__file__).resolve().parent.parent
PICTURES = PROJECT / "gearroom" / "site" / "static" / "site" / "help"
LANGUAGES = {"en": "en-gb", "de": "de"}
"""A folder of pictures, and the language of the person who looks."""
SIZE: ViewportSize = {"width": 360, "height": 640}
QUALITY = 55

PAGES = {
    "board": "/",
    "take-out": "/scan/?text=GROUP-01",
    "hand-back": "/kits/{out}/hand-back/",
    "used": "/kits/{out}/hand-back/?opened=1&sharps=no",
    "sort": "/kits/{sort}/sort/",
    "kit": "/kits/DAY-01/",
    "receive": "/stock/receive/",
    "count": "/stock/count/",
    "expiry": "/stock/expiry/",
    "recalls": "/stock/recalls/",
    "list": "/lists/1/2/",
    "sign": "/lists/",
    "trips": "/trips/",
    "weekly": "/notices/weekly/",
    "first-day": "/first-day/",
    "people": "/people/",
    "labels": "/labels/",
}
"""A picture's name, and the page that it is of. `out` is a kit that is out, `sort` one that waits
to be sorted."""


def main() -> None:
    """Make the pictures of the languages asked for, or of all."""
    from tests.e2e.pages import chromium

    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        sys.exit("This needs Debian's chromium: apt-get install chromium")
    with school() as (url, password, ask), chromium(program) as browser:
        named = ask(_BUSY)
        for language in sys.argv[1:] or LANGUAGES:
            ask(_SPEAK.format(language=LANGUAGES[language]))
            page = browser.new_page(viewport=SIZE, color_scheme="light")
            page.goto(f"{url}/sign-in/")
            page.fill("#username", "jo")
            page.fill("#password", password)
            page.click("main button")
            page.wait_for_url(url + "/")
            folder = PICTURES / language
            folder.mkdir(parents=True, exist_ok=True)
            for name, path in PAGES.items():
                page.goto(url + path.format(**named), wait_until="networkidle")
                picture = Image.open(io.BytesIO(page.screenshot()))
                picture.save(folder / f"{name}.webp", quality=QUALITY, method=6)
            page.context.close()


@contextmanager
def school() -> Iterator[tuple[str, str, Callable[[str], Any]]]:
    """The invented school, served: its address, a password, and a way to run Python in it, which
    answers with the JSON that it prints last."""
    with tempfile.TemporaryDirectory(prefix="gearroom-help-") as folder:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        url = f"http://127.0.0.1:{port}"
        env = {**os.environ, "GEARROOM_DATA_DIR": folder, "GEARROOM_PUBLIC_URL": url}
        manage: list[str] = [sys.executable, str(PROJECT / "manage.py")]
        subprocess.run([*manage, "demo", "--load-only"], env=env, check=True, stdout=sys.stderr)
        password = json.loads((Path(folder) / "demo.json").read_text())["passwords"]["jo"]
        server = subprocess.Popen(
            [*manage, "serve", "--port", str(port)], env=env, stdout=subprocess.PIPE
        )
        try:
            assert server.stdout is not None  # it is a pipe
            server.stdout.readline()  # its address, once it answers

            def ask(code: str) -> Any:
                done = subprocess.run(
                    [*manage, "shell", "--no-imports", "--command", code],
                    env=env, check=True, capture_output=True, text=True,
                )  # fmt: skip
                return json.loads(done.stdout.strip().splitlines()[-1])

            yield url, password, ask
        finally:
            server.terminate()
            server.wait(30)


_BUSY = """
import json
from gearroom.core.acts.act import SYSTEM, Act
from gearroom.core.models import Person
from kits.models import AsFound, Kit
from kits.services.custody import custody
out, sort = (Kit.objects.get(name=name) for name in ("DAY-03", "DAY-04"))
who = Person.objects.filter(memberships__role="guide").first()
for kit in (out, sort):
    custody.check_out(Act(SYSTEM), kit, person=who, short_reason="for a picture")
custody.check_in(Act(SYSTEM), sort, as_found=AsFound.SORT_LATER)
print(json.dumps({"out": out.name, "sort": sort.name}))
"""
_SPEAK = """
from gearroom.core.models import Person
print(Person.objects.filter(user__username="jo").update(language="{language}"))
"""


if __name__ == "__main__":
    main()
