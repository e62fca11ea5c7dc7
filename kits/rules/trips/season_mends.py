"""How a trip that the chosen kits do not serve can be served after all, without changing the kits
of any other: on other days, or with one more kit."""

import enum
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from gearroom.core.rules.grouping import grouped
from kits.rules.trips.season import Season, SeasonKit
from kits.rules.trips.season_kits import SeasonChoice, one_by_one


class MendKind(enum.StrEnum):
    """Ways to serve a trip after all."""

    SHIFT = "shift"
    MAKE_READY = "make-ready"
    ANOTHER_KIT = "another-kit"


@dataclass(frozen=True)
class Mend:
    """A way to serve a trip that lacks something: begin it so many `days` later (earlier: below 0),
    with `kits` (ids) that are free then; make `kits` ready for it that are free or promised to it,
    but are not fit through its last day even with what is on the shelves; or have one more kit like
    `like` (an id), bought or borrowed, which serves it beside `kits`."""

    kind: MendKind
    trip: int
    kits: tuple[int, ...] = ()
    days: int = 0
    like: int | None = None


MOST_DAYS = 3


def mends(
    season: Season, chosen: SeasonChoice, costs: Mapping[int, Decimal] | None = None
) -> dict[int, tuple[Mend, ...]]:
    """For each trip that lacks something, the ways that serve it without changing the kits of any
    other: the least shift of up to `MOST_DAYS` days either way; and kits to be made ready, or one
    more kit like one that there is where none would do. `costs`: by kit, what another like it
    costs, in one currency: where that is known of all that would do, the one that costs least is
    named, else the one that suits best."""
    season = season.in_order()
    away = grouped((kit, season.trip[pk]) for pk, kit in sorted(chosen.choice))
    found: dict[int, tuple[Mend, ...]] = {}
    stay = season.kept | (season.movable & chosen.choice)
    for pk in chosen.lacking:
        others = Season(
            (season.trip[pk],),
            tuple(
                replace(
                    kit,
                    busy=(*kit.busy, *(t.days for t in away.get(kit.id, ()) if t.id != pk)),
                    movable=frozenset(),
                )
                for kit in season.kits
            ),
            frozenset(pair for pair in stay if pair[0] == pk),
        )
        found[pk] = tuple(
            mend
            for mend in (_shift(others), _make_ready(others) or _another(others, costs or {}))
            if mend is not None
        )
    return found


def _shift(season: Season) -> Mend | None:
    (trip,) = season.trips
    if season.kept:
        return None  # its kits are promised for its days
    for days in sorted(range(-MOST_DAYS, MOST_DAYS + 1), key=lambda n: (abs(n), n < 0)):
        by = timedelta(days=days)
        needs = replace(
            trip.needs, first_day=trip.needs.first_day + by, last_day=trip.needs.last_day + by
        )
        shifted = Season((replace(trip, needs=needs),), season.kits)
        kits = [kit for _, kit in sorted(one_by_one(shifted))]
        if kits and days:
            return Mend(MendKind.SHIFT, trip.id, tuple(kits), days)
    return None


def _make_ready(season: Season) -> Mend | None:
    (trip,) = season.trips
    ready = replace(season, kits=tuple(replace(kit, ready_through=date.max) for kit in season.kits))
    chosen = [kit for _, kit in sorted(one_by_one(ready))]
    if ready.lacking(trip, chosen):
        return None
    promised = [pk for pk in season.promised.get(trip.id, ()) if pk in season.kit]
    waiting = [pk for pk in promised if not season.kit[pk].may_go(trip)]
    return Mend(MendKind.MAKE_READY, trip.id, (*waiting, *chosen))


def _another(season: Season, costs: Mapping[int, Decimal]) -> Mend | None:
    (trip,) = season.trips
    extra = max((kit.id for kit in season.kits), default=0) + 1
    ways: list[tuple[float, str, Mend]] = []
    for more, alike in grouped((_new(kit, extra), kit) for kit in season.kits).items():
        if not more.serves(trip):
            continue
        like = min(alike, key=lambda kit: (kit.id not in costs, costs.get(kit.id, 0)))
        with_it = Season(season.trips, (*season.kits, more), season.kept)
        if kits := [kit for _, kit in sorted(one_by_one(with_it))]:
            choice = frozenset((trip.id, kit) for kit in kits)
            rest = tuple(kit for kit in kits if kit != extra)
            mend = Mend(MendKind.ANOTHER_KIT, trip.id, rest, like=like.id)
            ways.append((with_it.points(choice), like.name, mend))
    if all(mend.like in costs for *_, mend in ways):
        ways.sort(key=lambda way: (costs[way[-1].like or 0], way[:2]))
    else:
        ways.sort(key=lambda way: way[:2])
    return ways[0][-1] if ways else None


def _new(kit: SeasonKit, number: int) -> SeasonKit:
    """Another like a kit: full, in, and promised to nobody."""
    return SeasonKit(
        number,
        "",
        kit.room,
        kit.people,
        kit.days,
        kit.hazards,
        child_through=date.max if kit.child_through else None,
        latex=kit.latex,
        ready_through=date.max,
        nights=kit.nights,
    )
