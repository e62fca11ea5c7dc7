"""Whether a list has what the hazards that it serves ask for."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Ask:
    """What a hazard asks for: so many units (1 or more) for a need, and why."""

    hazard: str
    need: int
    units: int
    reason: str = ""


@dataclass(frozen=True)
class Lacking:
    """A hazard's ask that a list does not meet: `carried` units of what serves the need;
    `explained` where a line says why it is not carried."""

    ask: Ask
    carried: int
    explained: bool


def lacking(
    hazards: Iterable[str],
    asks: Sequence[Ask],
    carried: Mapping[int, int],
    serves: Mapping[int, frozenset[int]],
    not_carried: frozenset[int],
) -> list[Lacking]:
    """What a list that serves these hazards lacks of what they ask for.

    `carried` has units by item, `serves` the items that serve each need, `not_carried` the needs
    that a line of the list leaves out with a reason.
    """
    wanted = set(hazards)
    short = []
    for ask in asks:
        units = sum(carried.get(item, 0) for item in serves.get(ask.need, frozenset()))
        if ask.hazard in wanted and units < ask.units:
            short.append(Lacking(ask, units, ask.need in not_carried))
    return short


def covered(hazards: Iterable[str], short: Sequence[Lacking]) -> frozenset[str]:
    """The hazards that a list serves truly: all that they ask for is carried, or a line says why
    it is not."""
    missing = {each.ask.hazard for each in short if not each.explained}
    return frozenset(hazard for hazard in hazards if hazard not in missing)
