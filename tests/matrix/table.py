"""The table `who_may.md`, read."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("who_may.md")

ROLES = {
    "guide": {"guides", "members", "staff", "users", "guide"},
    "instructor": {"guides", "keepers", "members", "staff", "users", "instructor"},
    "keeper": {"guides", "keepers", "members", "staff", "users", "keeper"},
    "administrator": {"guides", "keepers", "administrators", "members", "staff", "users"},
    "adviser": {"members", "staff", "users", "adviser"},
    "chief": {"guides", "keepers", "administrators", "members", "staff", "users", "chief"},
    "": {"users"},
}
"""What each role counts as, of the words of the table."""
WORDS = set().union(*ROLES.values()) | {"public", "self", "mate"}
OF_NO_ROOM = {"staff", "users", "public", "self", "chief", "adviser"}
"""Words for which it does not matter whose room a thing is of."""
TO_OTHERS = ("hidden", "known", "label", "–")
DEVICE = ("anybody", "named", "PIN", "never")
_STANDS = {"nobody": ("anybody",), "named": ("anybody", "named"), "pin": DEVICE[:3]}


@dataclass(frozen=True)
class Row:
    """One operation of the table."""

    operation: str
    who: tuple[str, ...]
    to_others: str
    device: str
    scope: str

    @property
    def is_page(self) -> bool:
        """Whether it is a page's, not the API's."""
        return self.operation.startswith("page")

    def may(self, who: Any, *, own: bool) -> bool:
        """Whether an identity may do it to a thing of its own room, or of the other one. (`self`
        is the test's to say: it makes the thing theirs or another's.)"""
        if "public" in self.who:
            return self.is_page or who.scope in ("", self.scope) or not self.scope
        if not who.signed_in or (who.scope and (self.is_page or who.scope != self.scope)):
            return False
        if who.hatch and self.device not in _STANDS[who.hatch]:
            return False
        return any(self._counts(word, who, own) for word in self.who)

    def _counts(self, word: str, who: Any, own: bool) -> bool:
        if word == "self":
            return own
        name, _space, anywhere = word.partition(" ")
        if name not in ROLES[who.role]:
            return False
        return own or bool(anywhere) or name in OF_NO_ROOM or who.room is None


@cache
def table() -> dict[str, Row]:
    """Every row, by its operation."""
    found: dict[str, Row] = {}
    for row in _rows():
        assert row.operation not in found, f"twice: {row.operation}"
        found[row.operation] = row
    return found


def _rows() -> Iterator[Row]:
    for line in FILE.read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if not line.startswith("|") or cells[0] in ("operation", "---"):
            continue
        operation, who, to_others, device, scope = cells
        row = Row(operation, tuple(who.split(", ")), to_others, device, scope)
        words = {word.removesuffix(" anywhere") for word in row.who}
        assert words <= WORDS, f"{operation}: {words - WORDS}"
        assert to_others in TO_OTHERS, operation
        assert device in DEVICE, operation
        yield row
