"""A browser on the pages of a running server, and a school behind it."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from playwright.sync_api import Browser, Dialog, Page, sync_playwright

from tests.engines import Engine
from tests.present import present
from tests.program import PROJECT
from tests.web import Web

PASSWORD = "wet ropes hang to dry"
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
AXE = PROJECT / "node_modules" / "axe-core" / "axe.min.js"
FRAME = (720, 1280)


@contextmanager
def chromium(program: str, *more: str) -> Iterator[Browser]:
    """Debian's Chromium, headless."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=[*QUIET, *more])
        yield browser
        browser.close()


@contextmanager
def served(program: str, engine: Engine, blocker: Any) -> Iterator[tuple[Browser, str]]:
    """A database of its own on an engine, a server over it at an address, and a browser: for all
    tests of a module."""
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright's loop runs in the test's thread
    url = engine.copy()
    with blocker.unblock():
        engine.open(url)
        server = Web()
        try:
            server.start()
            with chromium(program) as browser:
                yield browser, server.url
        finally:
            server.kill()
            engine.open_home()
            engine.drop(url)
            del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


def give_password(person: object) -> str:
    """Let somebody sign in with PASSWORD; their user name."""
    user = person.user  # type: ignore[attr-defined]  # a Person with a sign-in
    user.set_password(PASSWORD)
    user.save()
    return str(user.username)


def sign_in(page: Page, url: str, username: str, to: str = "/") -> None:
    """Through the page, as a person does."""
    page.goto(f"{url}/sign-in/?next={to}")
    page.fill("#username", username)
    page.fill("#password", PASSWORD)
    page.click("main button")
    page.wait_for_url(url + to, wait_until="commit")


def crossing(labels: list[bytes], file: Path, frames_each: int = 60) -> Path:
    """A film (Motion JPEG) of printed labels, each moving once through the picture, tilted a little
    and in uneven light, with a moment of bare wall between them."""
    height, width = FRAME
    noise = np.random.default_rng(7)
    wall = cv2.GaussianBlur(noise.integers(90, 200, FRAME, dtype=np.uint8), (0, 0), 9)
    light = np.linspace(0.75, 1.1, width, dtype=np.float32)[None, :]
    grain = [noise.normal(0, 4, FRAME).astype(np.float32) for _ in range(5)]
    with file.open("wb") as film:
        for label in labels:
            card = present(cv2.imdecode(np.frombuffer(label, np.uint8), cv2.IMREAD_GRAYSCALE))
            card = cv2.resize(card, None, fx=520 / card.shape[1], fy=520 / card.shape[1])
            for number in range(-12, frames_each):
                picture = wall
                if number >= 0:
                    across = -0.1 + 1.2 * number / frames_each
                    turn = cv2.getRotationMatrix2D(
                        (card.shape[1] / 2, card.shape[0] / 2), 8 - 12 * across, 1
                    )
                    turn[:, 2] += (
                        across * width - card.shape[1] / 2,
                        height / 2 - card.shape[0] / 2,
                    )
                    seen = cv2.warpAffine(card, turn, (width, height), flags=cv2.INTER_AREA)
                    mask = cv2.warpAffine(np.full_like(card, 255), turn, (width, height))
                    picture = np.where(mask > 127, seen, picture)
                lit = np.clip(picture * light + grain[number % len(grain)], 0, 255)
                shown = lit.astype(np.uint8)
                ok, jpeg = cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, 85])
                assert ok
                film.write(jpeg.tobytes())
    return file


def questions(page: Page) -> list[str]:
    """The kinds of questions that the browser asks from now on; each is answered with yes."""
    kinds: list[str] = []

    def answer(dialog: Dialog) -> None:
        kinds.append(dialog.type)
        dialog.accept()

    page.on("dialog", answer)
    return kinds
