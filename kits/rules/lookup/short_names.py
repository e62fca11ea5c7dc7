"""Kits' names as people type them: *d3*, *day 3* and *3* for DAY-03."""

import re
from collections.abc import Iterable

_PART = re.compile(r"[^\W\d_]+|\d+")


def fitting(typed: str, names: Iterable[str]) -> list[str]:
    """Return those of `names` that `typed` may be short for, in order: the same number, whatever
    noughts lead it, after the same letters or their beginning; the letters of the first part may be
    left out. Nothing is short for a name unless it says its last number.
    """
    wanted = _parts(typed)
    if not wanted or not wanted[-1].isdigit():
        return []
    return sorted(name for name in names if _fits(wanted, _parts(name)))


def _parts(text: str) -> list[str]:
    """The runs of letters and of digits in a text; nothing else counts."""
    return _PART.findall(text.casefold())


def _fits(typed: list[str], name: list[str]) -> bool:
    if len(typed) + 1 == len(name) and typed[0].isdigit() and not name[0].isdigit():
        name = name[1:]
    return len(typed) == len(name) and all(
        (other.isdigit() and one.lstrip("0") == other.lstrip("0"))
        if one.isdigit()
        else other.startswith(one)
        for one, other in zip(typed, name, strict=True)
    )
