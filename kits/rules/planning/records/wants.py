"""What counts as a want that was not met: something that was noted, once for each time, as needed
on a kit's trip and not there. Every page that counts such wants counts these, and says which of
them it leaves out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum


class Lack(StrEnum):
    """Why something was not there."""

    NOT_ON_LIST = "not-on-list"  # the list of then carried neither it nor anything in its place
    GONE = "gone"  # the list carried something for it, and none was left or it was not in the kit
    OWN_WORDS = "own-words"  # it is not in the catalogue, so no list can be asked


@dataclass(frozen=True)
class Want:
    """A want of a kit's trip: an item, or (None) somebody's own `words`."""

    trip: int
    item: int | None
    words: str
    lack: Lack


def want(trip: int, item: int | None, words: str, on_list: Collection[int]) -> Want:
    """A want; `on_list`: the items that the list of then carried, and those that others on it stand
    in for."""
    if item is None:
        return Want(trip, None, words, Lack.OWN_WORDS)
    return Want(trip, item, "", Lack.GONE if item in on_list else Lack.NOT_ON_LIST)
