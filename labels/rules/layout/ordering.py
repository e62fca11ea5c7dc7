"""The order in which labels are printed."""

import re
from collections.abc import Iterable
from typing import Literal

from labels.rules.layout.contents import KitLabel, Label, ShelfLabel, sort_key

Order = Literal["as-given", "name", "room", "code"]


def natural(text: str) -> tuple[tuple[int, str], ...]:
    """Return a key that sorts DAY-2 before DAY-10, whatever the case."""
    return tuple(
        (int(part), "") if part.isdecimal() else (-1, part.casefold())
        for part in re.split(r"(\d+)", text)
        if part
    )


def ordered(labels: Iterable[Label], order: Order) -> Iterable[Label]:
    """Return `labels` in `order`: as given (without reading ahead), or sorted; ties by code."""
    if order == "as-given":
        return labels
    if order == "code":
        return sorted(labels, key=lambda label: label.code)

    def key(label: Label) -> tuple[tuple[tuple[int, str], ...], ...]:
        room = label.room if isinstance(label, KitLabel | ShelfLabel) else ""
        name = (natural(sort_key(label)), natural(label.code))
        return (natural(room), *name) if order == "room" else name

    return sorted(labels, key=key)
