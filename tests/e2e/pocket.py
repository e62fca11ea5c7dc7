"""A phone that is taken out of the network and back: a browser that keeps what it keeps."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from playwright.sync_api import BrowserContext, Error, Page, sync_playwright

from tests.e2e.pages import QUIET
from tests.waiting import until

CAMERA = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
# On a busy machine a question of the phone's can take the 10 s after which there is no network for
# it; it asks again after 15 s.
SEEN_MS = 90_000
_MISSING = """() => Promise.all([caches.match('/offline/'), gearQueue.kept('book'),
  caches.match('/static/reading/zxing_reader.wasm')])
  .then((kept) => ['page', 'kits', 'reader'].filter((_, place) => !kept[place]))"""
READER_IS_HERE = """() => performance.getEntriesByType('resource').some(
  (each) => each.name.endsWith('.wasm') && each.responseEnd)"""


def until_kept(page: Page, *, reader: bool = True) -> None:
    """Wait until a phone keeps what it needs without a network; fails with what it does not."""
    wanted = {"page", "kits", "reader"} if reader else {"page", "kits"}
    missing: list[str] = []

    def all_here() -> bool:
        missing[:] = wanted.intersection(page.evaluate(_MISSING))
        return not missing

    try:
        until(all_here, "what is kept on the phone")
    except AssertionError as late:
        says = page.locator(".says").all_inner_texts()
        raise AssertionError(f"{late}: {missing}; the camera says {says}") from late


@contextmanager
def phone(program: str, profile: Path, *flags: str) -> Iterator[BrowserContext]:
    """A browser that keeps what it keeps in a folder, as a phone's does."""
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=program,
            args=[*QUIET, *CAMERA, *flags],
            viewport={"width": 360, "height": 740},
            locale="en-GB",
        )
        context.set_default_timeout(SEEN_MS)
        yield context
        with suppress(Error):
            context.close()


def kill(profile: Path) -> None:
    """End the browser over a profile as a phone's system does: at once."""
    for process in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):
            words = process.read_bytes().split(b"\0")
            ours = f"--user-data-dir={profile}".encode() in words
            if ours and not any(word.startswith(b"--type=") for word in words):
                os.kill(int(process.parent.name), signal.SIGKILL)
