"""Kits for all of a season's trips together: the choice that comes to least.

Kits that do the same for every trip form one class, of which so many go with a trip: the programme
has a column for each class and trip, and on each first day of a trip no more of a class may be away
than there are. That is enough to tell the kits of a class apart afterwards, since on no day more
trips than kits of it ask for one (interval graphs are perfect: each trip in turn takes a free kit).
"""

import enum
import heapq
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, lru_cache
from itertools import pairwise

from gearroom.core.rules.grouping import grouped
from gearroom.core.rules.programme import Programme, Row
from kits.rules.trips.lanes import Days
from kits.rules.trips.season import (
    LACKING,
    MOVED,
    UNSERVED,
    Choice,
    Lacking,
    Season,
    SeasonKit,
    SeasonTrip,
    Served,
    less,
)

SECONDS = 10.0
WITHIN = 0.005
"""A choice within this share of the best one is good enough for many trips."""
TOLERANCE = 1e-6
NEAR = 5.0
"""How far a kit may be from being worth its while on a trip, in points, to be looked at first."""


class Found(enum.StrEnum):
    """How good a choice is."""

    BEST = "best"  # within the share asked for of the best one
    STOPPED = "stopped"  # the best one found in the time there was
    ONE_BY_ONE = "one-by-one"  # none better was found in the time than one trip after the other


@dataclass(frozen=True)
class SeasonChoice:
    """A choice of kits, beside those that stay promised for good; what it comes to, what no choice
    comes to less than, and what trips lack with it (by trip id, only those that lack anything)."""

    choice: Choice
    found: Found
    comes_to: float
    bound: float
    lacking: dict[int, Lacking]

    @cached_property
    def of_trip(self) -> dict[int, list[int]]:
        """The kits (ids) chosen for each trip, in order; none for any other."""
        return grouped(sorted(self.choice))

    @property
    def within(self) -> float:
        """By what share of it, at most, another choice could come to less."""
        return (self.comes_to - self.bound) / self.comes_to if self.comes_to else 0.0


def choose(
    season: Season,
    *,
    seconds: float = SECONDS,
    within: float = 0.0,
    known: Choice | None = None,
) -> SeasonChoice:
    """The choice that comes to least, to `within` a share of it (0: the very least), or the best
    one found in so many `seconds` (above 0); never one that comes to more than one trip after the
    other, or than one that is `known`. The same season has the same choice, in whatever order its
    rows come, unless time ran out."""
    season = season.in_order()
    simple = one_by_one(season)
    if known is not None:
        simple = min(simple, known, key=season.points)
    programme, columns = _programme(season)
    solution = programme.solve_near(seconds, within, NEAR)
    bound = max(0.0, solution.bound)
    choice, found = simple, Found.ONE_BY_ONE
    if solution.values is not None:
        values = {at: round(solution.values[column]) for at, column in columns.items()}
        best = _tell_apart(season, values)
        if season.is_possible(best) and season.points(best) < season.points(simple) + TOLERANCE:
            choice, found = best, Found.BEST if solution.done else Found.STOPPED
    comes_to = season.points(choice)
    if comes_to - bound <= max(within * comes_to, TOLERANCE * max(1.0, comes_to)):
        found = Found.BEST
    chosen = grouped(choice)
    lacks = {t.id: lack for t in season.trips if (lack := season.lacking(t, chosen[t.id]))}
    return SeasonChoice(choice, found, comes_to, min(bound, comes_to), lacks)


def choose_with_changes(
    season: Season, promises: Choice, *, seconds: float = SECONDS, within: float = 0.0
) -> tuple[Season, SeasonChoice]:
    """The season with those of these promises that may go to other kits, and what is chosen then;
    never one that serves fewer trips, or comes to more, than what is chosen without changes."""
    stays = choose(season, seconds=seconds, within=within)
    changed = season.with_changes(promises)
    as_they_are = stays.choice | changed.movable
    chosen = choose(changed, seconds=seconds, within=within, known=as_they_are)
    if len(chosen.lacking) > len(stays.lacking):
        comes_to = changed.points(as_they_are)
        chosen = replace(stays, choice=as_they_are, comes_to=comes_to, bound=chosen.bound)
    return changed, chosen


@dataclass(frozen=True)
class Change:
    """Kits (ids) that a trip gives up and those that it has instead, and the trips that the former
    go with on those days."""

    trip: int
    gives: tuple[int, ...]
    has: tuple[int, ...]
    to: tuple[int, ...]


def changes(season: Season, choice: Choice) -> list[Change]:
    """What a choice changes of the promises that are movable, in order of the trips."""
    given = grouped(sorted(season.movable - choice))
    new = sorted(choice - season.movable)
    of_trip, of_kit = grouped(new), grouped((kit, season.trip[pk]) for pk, kit in new)
    return [
        Change(
            trip.id,
            tuple(gives),
            tuple(of_trip.get(trip.id, ())),
            tuple(
                other.id
                for kit in gives
                for other in of_kit.get(kit, ())
                if season.kit[kit].meet(trip.days, other.days)
            ),
        )
        for trip in season.in_order().trips
        if (gives := given.get(trip.id, ()))
    ]


def one_by_one(season: Season) -> Choice:
    """What somebody would choose who changes no promise, takes the trips in order of their first
    day, and for each adds the kit that betters it most until none does. A trip that cannot be
    served wholly takes none."""
    season = season.in_order()
    away: dict[int, list[Days]] = defaultdict(list)
    choice = set(season.movable)
    promised = grouped(sorted(season.movable))
    for pk, kit in season.movable:
        away[kit].append(season.trip[pk].days)
    for trip in season.trips:
        free = [
            (like, iter([kit.id for kit in kits if not _is_away(kit, trip, away[kit.id])]))
            for like, kits in season.suitable(trip).items()
        ]
        kits = _kits_for(trip, season.lacking(trip, promised.get(trip.id, ())), free)
        choice |= {(trip.id, kit) for kit in kits}
        for kit in kits:
            away[kit].append(trip.days)
    return frozenset(choice)


def _kits_for(
    trip: SeasonTrip, lack: Lacking, free: Sequence[tuple[SeasonKit, Iterator[int]]]
) -> list[int]:
    """The kits (ids) that serve what a trip lacks, of those that are free, by what they have in
    common; none where they cannot."""
    kits: list[int] = []
    while lack:
        ways = [
            (_measure(trip, then), like.points(trip), at)
            for at, (like, _) in enumerate(free)
            if (then := less(lack, like.serves(trip))) != lack
        ]
        for _, _, at in sorted(ways):
            if (kit := next(free[at][1], None)) is not None:
                kits.append(kit)
                lack = less(lack, free[at][0].serves(trip))
                break
        else:
            return []
    return kits


def _measure(trip: SeasonTrip, lack: Lacking) -> float:
    return lack.people / trip.needs.people + len(lack.hazards) + lack.children


def _is_away(kit: SeasonKit, trip: SeasonTrip, away: Sequence[Days]) -> bool:
    return any(kit.meet(trip.days, days) for days in away)


def _programme(season: Season) -> tuple[Programme, dict[tuple[int, int], int]]:
    """The programme, and the column of each class (by its place in the row) and trip (likewise)."""
    made = Programme(always=MOVED * len(season.movable))
    columns: dict[tuple[int, int], int] = {}
    for at, trip in enumerate(season.trips):
        lack = season.lacking(trip, ())
        suitable = season.suitable(trip)
        kits: list[tuple[SeasonKit, int]] = []
        for number, like in enumerate(season.classes):
            stays = trip.id in like.movable
            here = len(suitable.get(like, ()))
            if most := here if stays else min(here, _most(like, trip, lack)):
                cost = like.points(trip) - MOVED * stays
                columns[number, at] = made.column(cost, most)
                if like.may_go(trip):
                    kits.append((like, columns[number, at]))
        if lack:
            _serve(made, trip, lack, kits)
    of_class = grouped((number, (season.trips[at], c)) for (number, at), c in columns.items())
    for number, (like, alike) in enumerate(season.classes.items()):
        for row in _together(like, of_class[number]):
            if sum(made.most[column] for column in row) > len(alike):
                made.at_most(row, len(alike))
    return made, columns


def _most(kit: SeasonKit, trip: SeasonTrip, lack: Lacking) -> int:
    """How many such kits a trip has any use for."""
    served = kit.serves(trip)
    serves_other = bool(served.hazards & set(lack.hazards)) or (lack.children and served.children)
    people = math.ceil(lack.people / served.people) if served.people else 0
    return max(people, int(serves_other))


def _serve(
    made: Programme, trip: SeasonTrip, lack: Lacking, kits: Sequence[tuple[SeasonKit, int]]
) -> None:
    """Have a trip's kits serve what it lacks, or pay for what they do not."""
    unserved = made.column(UNSERVED, 1)
    wants: list[tuple[float, float, Row]] = [
        (1.0, LACKING, {c: 1.0 for kit, c in kits if hazard in kit.hazards})
        for hazard in lack.hazards
    ]
    if lack.children:
        wants.append((1.0, LACKING, {c: 1.0 for kit, c in kits if kit.serves(trip).children}))
    if lack.people:
        people = {c: float(n) for kit, c in kits if (n := kit.serves(trip).people)}
        wants.append((float(lack.people), LACKING / trip.needs.people, people))
    for amount, price, row in wants:
        short = made.column(price, amount, whole=False)
        made.at_least({**_capped(row, amount), short: 1.0}, amount)
        made.at_most({short: 1.0, unserved: -amount}, 0.0)
    _whole_kits(made, trip, lack, kits, unserved)


MOST_SETS = 500


def _whole_kits(
    made: Programme,
    trip: SeasonTrip,
    lack: Lacking,
    kits: Sequence[tuple[SeasonKit, int]],
    unserved: int,
) -> None:
    """Have a trip that is served take one of the sets that serve it, so that no parts of kits get
    around that; where there are hardly more than a few. It changes no choice, only the bound."""
    alike = grouped((kit.serves(trip), column) for kit, column in kits)
    sets = _least_sets(lack, tuple(alike))
    if sets is None:
        return
    chosen = [made.column(0.0, 1) for _ in sets]
    made.at_least({unserved: 1.0, **dict.fromkeys(chosen, 1.0)}, 1.0)
    for at, columns in enumerate(alike.values()):
        row: Row = {one: -float(n) for one, of in zip(chosen, sets, strict=True) if (n := of[at])}
        if row:
            made.at_least({**dict.fromkeys(columns, 1.0), **row}, 0.0)


@lru_cache(maxsize=4096)
def _least_sets(lack: Lacking, kinds: tuple[Served, ...]) -> tuple[tuple[int, ...], ...] | None:
    """How many kits of each kind make up each set that serves all that a trip lacks, and does so
    no longer without any one of them; None where more than `MOST_SETS` have to be looked at."""
    least: set[tuple[int, ...]] = set()
    sets = {tuple(0 for _ in kinds)}
    looked_at = 0
    while sets:
        looked_at += len(sets)
        if looked_at > MOST_SETS:
            return None
        more: set[tuple[int, ...]] = set()
        for counts in sets:
            left = _left(lack, kinds, counts)
            for at, kind in enumerate(kinds):
                one_more = (*counts[:at], counts[at] + 1, *counts[at + 1 :])
                if (then := less(left, kind)) and then != left:
                    more.add(one_more)
                elif not then:
                    least.add(one_more)
        sets = more
    return tuple(sorted(counts for counts in least if not _has_spare(lack, kinds, counts)))


def _has_spare(lack: Lacking, kinds: tuple[Served, ...], counts: tuple[int, ...]) -> bool:
    return any(
        n and not _left(lack, kinds, (*counts[:at], n - 1, *counts[at + 1 :]))
        for at, n in enumerate(counts)
    )


def _left(lack: Lacking, kinds: tuple[Served, ...], counts: tuple[int, ...]) -> Lacking:
    for kind, n in zip(kinds, counts, strict=True):
        for _ in range(n):
            lack = less(lack, kind)
    return lack


def _capped(row: Row, amount: float) -> Row:
    """The row, of which nothing counts for more than is wanted."""
    return {column: min(value, amount) for column, value in row.items()}


def _together(like: SeasonKit, trips: Sequence[tuple[SeasonTrip, int]]) -> Iterable[Row]:
    """The trips (by column) that would have kits of a class away at one time: for each first day
    of one that is the last before another of them has ended."""
    starts = grouped((trip.days.first, (trip, column)) for trip, column in trips)
    away: list[tuple[date, int]] = []
    days = sorted(starts)
    for day, after in pairwise([*days, date.max]):
        away = [(last, column) for last, column in away if last > day]
        away += [(trip.days.last + like.apart, column) for trip, column in starts[day]]
        if any(last <= after for last, _ in away):
            yield {column: 1.0 for _, column in away}


def _tell_apart(season: Season, values: dict[tuple[int, int], int]) -> Choice:
    """Which kit of each class goes with which trip: of those that are back, the one that went
    least."""
    by_class = grouped((number, (season.trips[at], n)) for (number, at), n in values.items() if n)
    choice: set[tuple[int, int]] = set()
    for number, (like, kits) in enumerate(season.classes.items()):
        here = [(kit.times, kit.name, kit.id) for kit in kits]
        heapq.heapify(here)
        away: list[tuple[date, tuple[int, str, int]]] = []
        for trip, count in by_class[number]:
            while away and away[0][0] <= trip.days.first:
                heapq.heappush(here, heapq.heappop(away)[1])
            for _ in range(count):
                times, name, kit = heapq.heappop(here)
                choice.add((trip.id, kit))
                heapq.heappush(away, (trip.days.last + like.apart, (times + 1, name, kit)))
    return frozenset(choice)
