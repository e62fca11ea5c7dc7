"""Good enough now, another wanted: what a season asks of an item whose place another takes as it
runs out."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from kits.rules.buying.season import ENOUGH, Want


def successor(item: int, by: Mapping[int, int]) -> int:
    """What is ordered in place of an item: what replaces it, or that, and so on; the item itself
    where nothing does, or where it goes in a circle."""
    seen = [item]
    while (after := by.get(seen[-1])) is not None:
        if after in seen:
            return item
        seen.append(after)
    return seen[-1]


def replaced(wants: Sequence[Want], by: Mapping[int, int]) -> list[Want]:
    """The same wants with those of items that another replaces (`by` item) put to that one: what
    there is of the old is used up first, and only what it does not cover is ordered of the new. In
    the order of their items."""
    found: dict[int, Want] = {}
    for want in sorted(wants, key=lambda each: (each.item in by, each.item)):
        item = successor(want.item, by)
        known = found.get(item)
        found[item] = replace(want, item=item) if known is None else _together(known, want)
    return [found[item] for item in sorted(found)]


def _together(new: Want, old: Want) -> Want:
    """What is wanted of both, as of the new one."""
    return replace(
        new,
        short=new.short + old.short,
        used=_sum(new.used, old.used),
        on_hand=new.on_hand + old.on_hand,
        for_class=new.for_class + old.for_class,
        kept=None if new.kept is None else _sum(new.kept, old.kept or (1.0,)),
        matters=max(new.matters, old.matters, key=lambda each: ENOUGH[each]),
    )


def _sum(one: tuple[float, ...], other: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(float(chance) for chance in np.convolve(one, other))
