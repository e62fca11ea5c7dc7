"""The words of a reading event: what was wanted, what was read, what it means."""

from dataclasses import dataclass
from enum import StrEnum

from labels.rules.codes.typed import TextKind

TYPED = "typed"
"""The symbology of a text that a person or a scanner typed."""


class Intent(StrEnum):
    """What somebody scans for."""

    IDENTIFY = "identify"
    CHECK_OUT = "check-out"
    CHECK_IN = "check-in"
    RECEIVE = "receive"
    COUNT = "count"
    LOOK_INSIDE = "look-inside"
    ADD = "add"


QUESTIONS = frozenset({Intent.IDENTIFY, Intent.RECEIVE, Intent.COUNT})
"""Those that only say what it is and where it is done: nothing in the book changes by them."""


class Means(StrEnum):
    """What was read stands for."""

    KIT = "kit"
    SECTION = "section"
    LOT = "lot"
    SHELF = "shelf"
    PERSON = "person"
    BLANK = "blank"  # ours, and bound to nothing yet
    ELSEWHERE = "elsewhere"  # ours, of a room that is not the asker's
    CANCELLED = "cancelled"
    UNKNOWN_LABEL = "unknown-label"  # its check character is right, but nobody here made it
    WRONG_CODE = "wrong-code"  # looks like one of ours, its check character is wrong
    MAKER = "maker"
    MAKER_WRONG = "maker-wrong"
    LINK = "link"
    WIFI = "wi-fi"
    CONTACT = "contact"
    BINARY = "binary"
    OTHER = "other"
    NOTHING = "nothing"


FOREIGN = {
    TextKind.LINK: Means.LINK,
    TextKind.WIFI: Means.WIFI,
    TextKind.CONTACT: Means.CONTACT,
    TextKind.BINARY: Means.BINARY,
    TextKind.OTHER: Means.OTHER,
    TextKind.EMPTY: Means.NOTHING,
}
"""Texts that are neither a label of ours nor a maker's code."""

NOT_OURS = frozenset(FOREIGN.values())


@dataclass(frozen=True)
class Reading:
    """One symbol or text that was read.

    `corners`: top left, top right, bottom right, bottom left in pixels of the picture as stored;
    empty for a typed text. `rung`: what of the reader read it. `is_gs1`: from a symbol marked so,
    with FNC1 standing in it as GS (0x1D).
    """

    text: str
    symbology: str = TYPED
    corners: tuple[tuple[float, float], ...] = ()
    rung: str = ""
    is_gs1: bool = False

    @property
    def printable(self) -> str:
        """The text as JSON and databases take it: half surrogates replaced, NUL shown."""
        return self.text.replace("\0", "\u2400").encode("utf-8", "replace").decode()


@dataclass(frozen=True)
class Readings:
    """All that was read at once, in reading order, and the picture's SHA-256 in hex
    (empty for typed texts)."""

    seen: tuple[Reading, ...]
    picture_sha256: str = ""
    rung: str = ""
    ms: float = 0.0


def typed_texts(texts: tuple[str, ...] | list[str]) -> Readings:
    """What a scanner or a person typed, as one look."""
    return Readings(tuple(Reading(text) for text in texts))
