"""Which edition of a document is the current one."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Edition:
    """An edition of a document: its batch, the last day it is valid, None where it has none, and
    whether it says which edition it is."""

    batch: int
    valid_until: date | None = None
    numbered: bool = True


def current(editions: Iterable[Edition]) -> Edition | None:
    """Return the edition that replaces the others: the one entered last, unless one before it is
    valid for longer. None where there is none. Batches are numbered as they are entered.

    What does not say which edition it is (a leaflet that came with a bought kit) replaces none that
    does."""
    known = sorted(editions, key=lambda edition: edition.batch)
    newest: Edition | None = None
    for each in [each for each in known if each.numbered] or known:
        if newest is None or not _ends_before(each, newest):
            newest = each
    return newest


def _ends_before(one: Edition, other: Edition) -> bool:
    if one.valid_until is None or other.valid_until is None:
        return False
    return one.valid_until < other.valid_until
