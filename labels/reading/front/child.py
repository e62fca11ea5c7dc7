"""A reader process: takes files from its owner one at a time until the owner is gone.

Run as `python -m labels.reading.front.child FD MAX_RESIDENT_BYTES` with a connected socket at FD.
It knows no Django and holds nothing of its owner's: no database connection, no listening socket. It
ends when the socket closes, and an alarm that nothing in it can miss ends it if a picture holds it
longer than its bounds, owner or no owner.
"""

import base64
import contextlib
import resource
import signal
import socket
import sys
from typing import Any

import cv2

from gearroom.core.rules.sentences import Sentence
from labels.reading.front import wire
from labels.reading.front.errors import TOO_MUCH, TOO_MUCH_MEMORY, PictureError, WorkbookError
from labels.reading.front.pictures import Picture, decode, shrunk
from labels.reading.front.results import Read
from labels.reading.ladder import ladder


def main(descriptor: int, max_resident_bytes: int) -> None:
    """Serve until the owner closes the socket."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a Ctrl-C is the owner's to handle
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    cv2.setNumThreads(1)
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_DATA, (max_resident_bytes, max_resident_bytes))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    connection = socket.socket(fileno=descriptor)
    with contextlib.suppress(EOFError, OSError):
        wire.send(connection, {"ready": True})
        while True:
            order, content = wire.receive(connection)
            signal.setitimer(signal.ITIMER_REAL, order["ends_in_s"])
            wire.send(connection, _answer(connection, order, content))
            signal.setitimer(signal.ITIMER_REAL, 0)


def _answer(connection: socket.socket, order: dict[str, Any], content: bytes) -> dict[str, Any]:
    """Read one file, sending what each step gives, and return the last answer."""
    try:
        if "sheets" in order:
            bounds = {name: order[name] for name in ("sheets", "rows", "columns")}
            from labels.reading.front.workbooks import tables  # rarely needed, and slow to load

            return {"tables": tables(content, **bounds)}
        if "longest_px" in order:
            bounds = {name: order[name] for name in ("max_pixels", "longest_px")}
            return {"jpeg": base64.b64encode(shrunk(content, **bounds)).decode()}
        picture = decode(content, max_pixels=order["max_pixels"])
    except (PictureError, WorkbookError) as error:
        return _refusal(type(error).__name__, error.says)
    except MemoryError:
        if "sheets" in order:
            return _refusal("WorkbookTooLarge", TOO_MUCH)
        return _refusal("BrokenPicture", TOO_MUCH_MEMORY)
    return _climb(connection, order, picture)


def _climb(connection: socket.socket, order: dict[str, Any], picture: Picture) -> dict[str, Any]:
    """Read a picture, sending what each rung gives; how it ended."""
    wire.send(connection, {"decoded": True, "orientation": picture.orientation})

    def enough(reads: list[Read]) -> bool:
        if order["all_symbols"]:
            return False
        return not order["stop_at_own"] or any(ladder.is_own(read.text) for read in reads)

    def tell(reads: list[Read]) -> None:
        wire.send(connection, {"reads": [{**vars(read), "raw": read.raw.hex()} for read in reads]})

    try:
        rung, stopped = ladder.climb(picture, budget_s=order["budget_s"], enough=enough, tell=tell)
    except MemoryError:
        return {"done": True, "rung": "", "stopped": "killed"}
    return {"done": True, "rung": rung, "stopped": stopped}


def _refusal(error: str, says: Sentence) -> dict[str, Any]:
    return {"error": error, "text": says.text, "facts": dict(says.facts)}


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
