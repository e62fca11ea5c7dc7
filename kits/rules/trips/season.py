"""Which kits could go with which of a season's trips, and what a choice of kits for all of them
comes to.

Days are counted as everywhere (`kits.rules.trips.trips`): a kit is away from the morning of a
trip's first day to the evening of its last, and then sorted for so many nights. What a choice comes
to is in points, the more the worse: first of all for each trip that is not served; then what such
a trip lacks, the number of kits, kits of other rooms, kits that have to be restocked first, and
kits that bring what the trip does not ask for.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property, reduce
from math import fsum

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger import TripNeeds
from kits.rules.trips.lanes import Days
from kits.rules.trips.trips import back_in_time

UNSERVED = 10_000.0
LACKING = 1_000.0
"""For each hazard without a kit, for nothing for children, and for all of its people unserved."""
MOVED = 1_000.0
"""For each kit that is taken from a trip that it was promised to: as much as for a hazard without a
kit, so that none is for being nearer or fewer."""
ANOTHER_KIT = 100.0
OTHER_ROOM = 40.0
TO_MAKE_READY = 20.0
HAZARD_BEYOND = 10.0
PERSON_SERVED = 0.1

Choice = frozenset[tuple[int, int]]
"""Which kit goes with which trip: pairs of a trip's id and a kit's."""


@dataclass(frozen=True)
class SeasonTrip:
    """An open trip. `room` is its gear room (None: any)."""

    id: int
    name: str
    needs: TripNeeds
    room: int | None = None

    @cached_property
    def days(self) -> Days:
        """From its first day to its last."""
        return Days(self.needs.first_day, self.needs.last_day)


@dataclass(frozen=True)
class SeasonKit:
    """A kit that might go with trips.

    `ready_through`: the last day of a trip that it may go with as it is (None: with none);
    `restocked_through`: the same once it has been restocked from the shelves, for trips from the
    day `restocked_from` on. `child_through`: until when what it has for children is good. `busy`:
    days on which it is out, or promised to a trip that keeps it. `nights` are those that sorting
    takes in its home room. `times` is how often it went lately.
    """

    id: int
    name: str
    room: int
    people: int = 0
    days: int = 0
    hazards: frozenset[str] = frozenset()
    child_through: date | None = None
    latex: bool = False
    ready_through: date | None = None
    restocked_through: date | None = None
    restocked_from: date = date.min
    busy: tuple[Days, ...] = ()
    movable: frozenset[int] = frozenset()
    out: Days | None = None
    out_on: int | None = None
    nights: int = 1
    times: int = 0

    @cached_property
    def apart(self) -> timedelta:
        """From a trip's last day to the first on which the kit may be away again."""
        return timedelta(days=max(1, self.nights))

    @cached_property
    def like(self) -> "SeasonKit":
        """What it has in common with other kits that do the same for every trip."""
        return replace(self, id=0, name="", times=0)

    def is_free(self, trip: SeasonTrip) -> bool:
        """Whether it is neither away nor being sorted on any of the trip's days, nor needed
        elsewhere before it has been sorted."""
        away = self.busy if self.out is None else (*self.busy, self.out)
        return self.is_back(trip) and not any(self.meet(trip.days, days) for days in away)

    def is_back(self, trip: SeasonTrip) -> bool:
        """Whether it is in or out on the trip, or comes back in time for it from something else."""
        return (
            self.out is None
            or self.out_on == trip.id
            or back_in_time(trip.days.first, self.out.last, overdue=False, nights=self.nights)
        )

    def meet(self, one: Days, other: Days) -> bool:
        """Whether two spans of days are too close for the kit: it is not sorted between."""
        return one.first < other.last + self.apart and other.first < one.last + self.apart

    def is_ready(self, trip: SeasonTrip) -> bool:
        """Whether it may go with the trip as it is."""
        return self.ready_through is not None and trip.needs.last_day <= self.ready_through

    def may_go(self, trip: SeasonTrip) -> bool:
        """Whether it may go with the trip, restocked before or not."""
        if trip.needs.latex_free and self.latex:
            return False
        restocked = (
            self.restocked_through is not None
            and trip.needs.last_day <= self.restocked_through
            and trip.needs.first_day >= self.restocked_from
        )
        return self.is_ready(trip) or restocked

    def serves(self, trip: SeasonTrip) -> "Served":
        """What it serves of what the trip needs."""
        needs = trip.needs
        return Served(
            self.people if self.days >= needs.days else 0,
            self.hazards & needs.hazards,
            needs.children
            and self.child_through is not None
            and needs.last_day <= self.child_through,
        )

    def points(self, trip: SeasonTrip) -> float:
        """What it comes to that it goes with the trip."""
        return (
            ANOTHER_KIT
            + OTHER_ROOM * (trip.room is not None and trip.room != self.room)
            + TO_MAKE_READY * (not self.is_ready(trip))
            + HAZARD_BEYOND * len(self.hazards - trip.needs.hazards)
            + PERSON_SERVED * self.people
        )


@dataclass(frozen=True)
class Served:
    """How many people kits serve, for which hazards, and whether children."""

    people: int = 0
    hazards: frozenset[str] = frozenset()
    children: bool = False

    def __bool__(self) -> bool:
        return bool(self.people or self.hazards or self.children)


@dataclass(frozen=True)
class Lacking:
    """What a trip's kits together do not serve: so many people, these hazards, children."""

    people: int
    hazards: tuple[str, ...]
    children: bool

    def __bool__(self) -> bool:
        return bool(self.people or self.hazards or self.children)


@dataclass(frozen=True)
class Season:
    """Open trips and the kits for them. `kept` are promises that stay: the kits of trips (their
    days are `busy` days of the kits), whether those trips are asked about or not. A choice has
    those that are `movable` as well, unless they go to other kits."""

    trips: tuple[SeasonTrip, ...]
    kits: tuple[SeasonKit, ...]
    kept: Choice = frozenset()

    def in_order(self) -> "Season":
        """The same season, its rows in one order."""
        return Season(
            tuple(sorted(self.trips, key=lambda trip: (trip.needs.first_day, trip.id))),
            tuple(sorted(self.kits, key=lambda kit: (kit.name, kit.id))),
            self.kept,
        )

    @cached_property
    def kit(self) -> dict[int, SeasonKit]:
        """The kits by id."""
        return {kit.id: kit for kit in self.kits}

    @cached_property
    def trip(self) -> dict[int, SeasonTrip]:
        """The trips by id."""
        return {trip.id: trip for trip in self.trips}

    @cached_property
    def promised(self) -> dict[int, list[int]]:
        """The ids of the kits that stay promised, by trip."""
        return dict(grouped(sorted(self.kept)))

    @cached_property
    def movable(self) -> Choice:
        """Promises that may go to other kits."""
        return frozenset((trip, kit.id) for kit in self.kits for trip in kit.movable)

    def with_changes(self, promises: Choice) -> "Season":
        """The same season, where these of the promises that stay may go to other kits. One that
        something else of its kit is too close to stays: no choice could have it."""
        of_kit = grouped((kit, self.trip[pk]) for pk, kit in sorted(promises & self.kept))
        kits = tuple(_freed(kit, of_kit.get(kit.id, ())) for kit in self.kits)
        movable = Season(self.trips, kits).movable
        return Season(self.trips, kits, self.kept - movable)

    @cached_property
    def classes(self) -> dict[SeasonKit, list[SeasonKit]]:
        """The kits by what they have in common with others."""
        return dict(grouped((kit.like, kit) for kit in self.kits))

    def suitable(self, trip: SeasonTrip) -> dict[SeasonKit, list[SeasonKit]]:
        """The kits not promised to a trip for good that may go with it and serve it in anything,
        and those that are promised to it otherwise, by what they have in common."""
        promised = self.promised.get(trip.id, ())
        return {
            like: [kit for kit in kits if kit.id not in promised]
            for like, kits in self.classes.items()
            if trip.id in like.movable
            or (like.may_go(trip) and like.is_free(trip) and like.serves(trip))
        }

    def is_possible(self, choice: Choice) -> bool:
        """Whether every kit may go with its trips, each with one at a time and sorted between."""
        by_kit = grouped((kit, self.trip[pk]) for pk, kit in choice)
        return all(
            all(self.kit[kit] in self.suitable(each).get(self.kit[kit].like, ()) for each in trips)
            and not any(
                self.kit[kit].meet(one.days, other.days)
                for n, one in enumerate(trips)
                for other in trips[:n]
            )
            for kit, trips in by_kit.items()
        )

    def lacking(self, trip: SeasonTrip, kits: Iterable[int]) -> Lacking:
        """What the trip lacks with these kits beside those promised to it for good, as far as they
        may go and are back in time."""
        promised = (pk for pk in self.promised.get(trip.id, ()) if pk in self.kit)
        both = (self.kit[pk] for pk in (*promised, *kits))
        return lacking(trip, [kit for kit in both if kit.may_go(trip) and kit.is_back(trip)])

    def points(self, choice: Choice) -> float:
        """What a choice comes to."""
        by_trip = grouped(sorted(choice))
        return MOVED * len(self.movable - choice) + fsum(
            points_lacking(trip, self.lacking(trip, kits := by_trip.get(trip.id, [])))
            + sum(self.kit[pk].points(trip) for pk in kits)
            for trip in self.trips
        )


def _freed(kit: SeasonKit, trips: Sequence[SeasonTrip]) -> SeasonKit:
    """The kit, of whose promises those to these trips are movable that nothing else is too close
    to."""
    movable = [
        trip
        for trip in trips
        if (trip.days in kit.busy and replace(kit, busy=_without(kit.busy, [trip])).is_free(trip))
    ]
    return replace(
        kit,
        busy=_without(kit.busy, movable),
        movable=kit.movable | {trip.id for trip in movable},
    )


def _without(busy: Sequence[Days], trips: Iterable[SeasonTrip]) -> tuple[Days, ...]:
    left = list(busy)
    for trip in trips:
        left.remove(trip.days)
    return tuple(left)


def lacking(trip: SeasonTrip, kits: Iterable[SeasonKit]) -> Lacking:
    """What these kits together do not serve of a trip."""
    needs = trip.needs
    lack = Lacking(needs.people, tuple(sorted(needs.hazards)), needs.children)
    return reduce(less, (kit.serves(trip) for kit in kits), lack)


def points_lacking(trip: SeasonTrip, lack: Lacking) -> float:
    """What it comes to that a trip lacks something."""
    if not lack:
        return 0.0
    share = lack.people / trip.needs.people
    return UNSERVED + LACKING * (share + len(lack.hazards) + lack.children)


def less(lack: Lacking, served: Served) -> Lacking:
    """What is still lacking beside a kit that serves so much."""
    return Lacking(
        max(0, lack.people - served.people),
        tuple(hazard for hazard in lack.hazards if hazard not in served.hazards),
        lack.children and not served.children,
    )
