"""Which kit would be missed least: how many trips would have gone, or will go, without one.

A trip can do without a kit where another kit was, or is, with nobody on all of its days, and has
the same list, or one that covers what the trip asks for together with the trip's other kits, by
the rule for trips. Whether that one was ready then is not looked at; what children need and latex
depend on what lies inside, so for such trips only the same list will do.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Self

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger import KitState, TripNeeds
from kits.rules.ledger.suits import suits

NOTHING_KNOWN: Mapping[int, TripNeeds] = MappingProxyType({})


@dataclass(frozen=True)
class KitOfList:
    """A kit and the list that it follows; `stands_in`: whether it may take another's place;
    `state`: what its list serves (None: not known, only the same list will do)."""

    id: int
    list: int
    stands_in: bool = True
    state: KitState | None = None


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


def missed(
    kits: Sequence[KitOfList],
    past: Sequence[Busy],
    coming: Sequence[Busy],
    needs: Mapping[int, TripNeeds] = NOTHING_KNOWN,
) -> list[Missed]:
    """Each kit, the least missed first; equal ones in the order given. `past` and `coming` also
    hold what others are busy with; `needs` says what trips (ids) ask for."""
    was, is_to_be = _Calendar.of(kits, past, needs), _Calendar.of(kits, coming, needs)
    rows = [
        Missed(
            kit.id,
            len(_trips(was.busy[kit.id])),
            was.without(kit),
            len(_trips(is_to_be.busy[kit.id])),
            is_to_be.without(kit),
        )
        for kit in kits
    ]
    return sorted(rows, key=lambda row: row.order)


def _trips(busy: Iterable[Busy]) -> tuple[int, ...]:
    """The trips (ids), each once: a kit may go out on one more than once."""
    return tuple(dict.fromkeys(each.trip for each in busy if each.trip is not None))


@dataclass(frozen=True)
class _Calendar:
    """When kits are busy (by kit), which go on each trip, and what trips ask for."""

    kits: Sequence[KitOfList]
    busy: Mapping[int, Sequence[Busy]]
    on_trip: Mapping[int | None, Sequence[KitOfList]]
    needs: Mapping[int, TripNeeds]

    @classmethod
    def of(
        cls, kits: Sequence[KitOfList], busy: Sequence[Busy], needs: Mapping[int, TripNeeds]
    ) -> Self:
        known = {kit.id: kit for kit in kits}
        pairs = dict.fromkeys((each.trip, each.kit) for each in busy if each.kit in known)
        return cls(
            kits,
            grouped((each.kit, each) for each in busy),
            grouped((trip, known[kit]) for trip, kit in pairs),
            needs,
        )

    def without(self, kit: KitOfList) -> tuple[int, ...]:
        """The trips of a kit that no other could go on, each once."""
        return _trips(
            trip
            for trip in self.busy[kit.id]
            if not any(self._will_do(other, kit, trip) for other in self.kits)
        )

    def _will_do(self, other: KitOfList, kit: KitOfList, trip: Busy) -> bool:
        """Whether another kit is free on all days of a trip, and serves it in place of this one."""
        if other.id == kit.id or not other.stands_in:
            return False
        if any(each.shares_a_day(trip) for each in self.busy[other.id]):
            return False
        return other.list == kit.list or self._covers(other, kit, trip.trip)

    def _covers(self, other: KitOfList, kit: KitOfList, trip: int | None) -> bool:
        needs = None if trip is None else self.needs.get(trip)
        if needs is None or needs.children or needs.latex_free or other.state is None:
            return False
        along = (each.state for each in self.on_trip[trip] if each.id != kit.id)
        return not suits(needs, [other.state, *filter(None, along)])
