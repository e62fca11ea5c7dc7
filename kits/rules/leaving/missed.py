"""Which kit would be missed least: how many trips would have gone, or will go, without one.

A trip can do without a kit where another kit with the same list was, or is, with nobody on all of
its days. Whether that one was ready then is not looked at.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.grouping import grouped


@dataclass(frozen=True)
class KitOfList:
    """A kit and the list that it follows; `stands_in`: whether it may take another's place."""

    id: int
    list: int
    stands_in: bool = True


@dataclass(frozen=True)
class Busy:
    """A kit that is with somebody from a day through another; on a trip, or not (None)."""

    kit: int
    trip: int | None
    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError("A kit is back on the day that it went, or later.")

    def shares_a_day(self, other: "Busy") -> bool:
        """Whether both are on some day."""
        return self.first <= other.last and other.first <= self.last


@dataclass(frozen=True)
class Missed:
    """How many trips a kit was on and is reserved for, and those of them (ids) that no other could
    have gone on, or can."""

    kit: int
    past: int
    past_without: tuple[int, ...]
    coming: int
    coming_without: tuple[int, ...]

    @property
    def order(self) -> tuple[int, int, int, int]:
        """Least missed first."""
        return len(self.coming_without), len(self.past_without), self.coming, self.past


def missed(kits: Sequence[KitOfList], past: Sequence[Busy], coming: Sequence[Busy]) -> list[Missed]:
    """Each kit, the least missed first; equal ones in the order given. `past` and `coming` also
    hold what others are busy with."""
    same = grouped((kit.list, kit) for kit in kits)
    was, is_to_be = (grouped((each.kit, each) for each in busy) for busy in (past, coming))
    rows = []
    for kit in kits:
        others = [each.id for each in same[kit.list] if each.stands_in and each.id != kit.id]
        rows.append(
            Missed(
                kit.id,
                len(_trips(was[kit.id])),
                _without(was[kit.id], others, was),
                len(_trips(is_to_be[kit.id])),
                _without(is_to_be[kit.id], others, is_to_be),
            )
        )
    return sorted(rows, key=lambda row: row.order)


def _trips(busy: Iterable[Busy]) -> tuple[int, ...]:
    """The trips (ids), each once: a kit may go out on one more than once."""
    return tuple(dict.fromkeys(each.trip for each in busy if each.trip is not None))


def _without(
    own: Sequence[Busy], others: Sequence[int], busy: Mapping[int, Sequence[Busy]]
) -> tuple[int, ...]:
    """The trips on which each of the others is busy on some day; `busy` by kit."""
    return _trips(
        trip
        for trip in own
        if all(any(each.shares_a_day(trip) for each in busy.get(other, ())) for other in others)
    )
