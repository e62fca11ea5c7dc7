"""Which edition of a document is the current one."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Edition:
    """An edition of a document: its batch, and the last day it is valid, None where it has none."""

    batch: int
    valid_until: date | None = None


def current(editions: Iterable[Edition]) -> Edition | None:
    """Return the edition that replaces the others: the one entered last, unless one before it is
    valid for longer. None where there is none. Batches are numbered as they are entered."""
    newest: Edition | None = None
    for each in sorted(editions, key=lambda edition: edition.batch):
        if newest is None or not _ends_before(each, newest):
            newest = each
    return newest


def _ends_before(one: Edition, other: Edition) -> bool:
    if one.valid_until is None or other.valid_until is None:
        return False
    return one.valid_until < other.valid_until
