"""Whether contents fit a bag: learned from whether it closed, and from what it weighed.

Things of odd shapes fill only a share of a bag's volume. A bag's own share is learned: what it
closed over fits, what it did not close over does not; before that, `USUAL_SHARE` is taken.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

USUAL_SHARE = 0.7
"""The share of a bag's volume that contents fill, before anything is known of it."""


class Fits(StrEnum):
    """What is said of contents and a bag."""

    CLOSED_BEFORE = "closed-before"  # it closed over as much or more
    EXPECTED = "expected"  # less than the usual share of its volume
    TIGHT = "tight"  # more than that, and never tried
    WILL_NOT_CLOSE = "will-not-close"  # it did not close over as little or less, or it is too small
    NOT_KNOWN = "not-known"  # neither its volume is known nor whether it closed


@dataclass(frozen=True)
class Tried:
    """A bag that closed, or did not, over contents of a volume (ml, 0 or more)."""

    volume_ml: int
    closed: bool


@dataclass(frozen=True)
class Capacity:
    """What is known of how much a bag takes, in ml of contents: it closed over `closed` and did not
    over `not_closed`; `expected` is what it is thought to take (None: nothing is known)."""

    closed: int | None = None
    not_closed: int | None = None
    expected: float | None = None


def capacity(bag_ml: int | None, tried: Sequence[Tried]) -> Capacity:
    """What a bag of a volume (ml; None: not known) takes, from what was tried.

    The newest trial counts where two contradict each other: `tried` is oldest first.
    """
    closed: int | None = None
    not_closed: int | None = None
    for each in tried:
        if each.closed:
            closed = max(closed or 0, each.volume_ml)
            if not_closed is not None and not_closed <= closed:
                not_closed = None
        else:
            not_closed = min(each.volume_ml, each.volume_ml if not_closed is None else not_closed)
            if closed is not None and closed >= not_closed:
                closed = None
    usual = bag_ml * USUAL_SHARE if bag_ml else None
    if usual is None:
        usual = float(closed) if closed is not None else None
    if usual is not None:
        usual = max(usual, closed or 0)
        usual = min(usual, not_closed) if not_closed is not None else usual
    return Capacity(closed, not_closed, usual)


def fits(volume_ml: int, takes: Capacity, *, all_known: bool) -> Fits:
    """Whether contents of a volume fit. `all_known` False: some items' volumes are not known, so
    that there is at least so much; then nothing is said to fit."""
    if takes.not_closed is not None and volume_ml >= takes.not_closed:
        return Fits.WILL_NOT_CLOSE
    if not all_known:
        return Fits.NOT_KNOWN
    if takes.closed is not None and volume_ml <= takes.closed:
        return Fits.CLOSED_BEFORE
    if takes.expected is None:
        return Fits.NOT_KNOWN
    return Fits.EXPECTED if volume_ml <= takes.expected else Fits.TIGHT


@dataclass(frozen=True)
class Part:
    """A line of what goes into a bag: its item, units and a unit's volume (ml) and mass (g), None
    where not known."""

    item: int
    units: int
    volume_ml: int | None
    mass_g: int | None


@dataclass(frozen=True)
class Bulk:
    """What parts come to: volume (ml) and mass (g) of those known, and the items that are not."""

    volume_ml: int
    mass_g: int
    volume_unknown: frozenset[int]
    mass_unknown: frozenset[int]


def bulk(parts: Sequence[Part]) -> Bulk:
    """What parts come to together."""
    held = [part for part in parts if part.units]
    return Bulk(
        volume_ml=sum(part.units * part.volume_ml for part in held if part.volume_ml is not None),
        mass_g=sum(part.units * part.mass_g for part in held if part.mass_g is not None),
        volume_unknown=frozenset(part.item for part in held if part.volume_ml is None),
        mass_unknown=frozenset(part.item for part in held if part.mass_g is None),
    )


def to_move(parts: Sequence[Part], takes: Capacity) -> list[Part]:
    """The fewest and bulkiest parts that have to be moved or made smaller until the rest fits what
    is expected; empty where it fits or nothing is known."""
    if takes.expected is None:
        return []
    over = bulk(parts).volume_ml - takes.expected
    moved: list[Part] = []
    for part in sorted(parts, key=lambda part: -(part.units * (part.volume_ml or 0))):
        if over <= 0:
            break
        if part.volume_ml and part.units:
            moved.append(part)
            over -= part.units * part.volume_ml
    return moved
