"""Rows of a table put in order by one of its columns."""

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

Row = TypeVar("Row")


def in_order(rows: Iterable[Row], value: Callable[[Row], Any], *, down: bool = False) -> list[Row]:
    """Rows by a value of theirs, the smallest first or, `down`, the largest; alike ones stay as
    they are, and those without a value (None) are last either way."""
    valued = [(value(row), row) for row in rows]
    there = [pair for pair in valued if pair[0] is not None]
    there.sort(key=lambda pair: pair[0], reverse=down)
    return [row for _value, row in there] + [row for each, row in valued if each is None]
