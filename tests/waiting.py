"""Waiting for what happens in other threads and programs, which owe no test an instant."""

import threading
import time
from collections.abc import Callable

WAIT_SECONDS = 90


def until(true: Callable[[], object], what: str, within: float = WAIT_SECONDS) -> None:
    """Wait until something is so; fails where it does not come to be within so many seconds."""
    ends = time.monotonic() + within
    pause = threading.Event()
    while not true():
        if time.monotonic() > ends:
            raise AssertionError(f"{what}: not within {within} s")
        pause.wait(0.05)
