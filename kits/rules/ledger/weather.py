"""Frost, heat and wet: what may not stay where it is kept, in which months, and what to do when.

The limits are those that somebody copied from the pack onto the item, the weather what somebody
wrote of the location. Months and no seasons: they are other ones south of the equator. Whether
something is still good after a frost is nothing that can be worked out, so nothing here says it.
"""

import enum
from calendar import monthrange
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from kits.rules.ledger.facts import KitState, Thing, Units, Weather

LEAD_DAYS = 28
"""So many days before the weather begins there is something to do about it."""
JUST_FROZEN_C = -1
EVERY_MONTH = frozenset(range(1, 13))


class Threat(enum.StrEnum):
    """What the weather does to things."""

    FROST = "frost"
    HEAT = "heat"
    WET = "wet"


def threats(thing: Thing, weather: Weather) -> dict[Threat, frozenset[int]]:
    """Return the months in which a thing may not be in this weather, by what harms it; nothing for
    what can stay all year."""
    coldest = JUST_FROZEN_C if weather.coldest_c is None else weather.coldest_c
    freezes = thing.min_temp_c is not None and thing.min_temp_c > coldest
    overheats = (
        thing.max_temp_c is not None
        and weather.hottest_c is not None
        and thing.max_temp_c < weather.hottest_c
    )
    harmed = {
        Threat.FROST: weather.frost if freezes else frozenset(),
        Threat.HEAT: weather.heat if overheats else frozenset(),
        Threat.WET: weather.wet if thing.keep_dry else frozenset(),
    }
    return {threat: months for threat, months in harmed.items() if months}


@dataclass(frozen=True)
class Stretch:
    """Days in a row, both ends included."""

    first: date
    last: date


def stretch(months: frozenset[int], today: date) -> Stretch | None:
    """Return the days of these months in a row that `today` is in, else the next ones; from
    `date.min` to `date.max` where it is all year, None where it is never."""
    if not months:
        return None
    if months >= EVERY_MONTH:
        return Stretch(date.min, date.max)
    first = today.replace(day=1)
    if today.month in months:
        while _step(first, -1).month in months:
            first = _step(first, -1)
    else:
        while first.month not in months:
            first = _step(first, 1)
    last = first
    while _step(last, 1).month in months:
        last = _step(last, 1)
    return Stretch(first, last.replace(day=monthrange(last.year, last.month)[1]))


def in_a_row(months: Iterable[int]) -> list[int]:
    """Return months as one says them: those in a row together, over New Year too, beginning after
    a month that is none of them."""
    wanted = set(months)
    begins = next((m for m in range(1, 13) if m in wanted and (m - 2) % 12 + 1 not in wanted), 1)
    return [m for m in ((begins - 1 + n) % 12 + 1 for n in range(12)) if m in wanted]


def _step(first: date, by: int) -> date:
    """The first day of the month after or before."""
    months = first.year * 12 + first.month - 1 + by
    return date(months // 12, months % 12 + 1, 1)


def due(months: frozenset[int], today: date) -> Stretch | None:
    """Return the stretch of these months that `today` is in, or that begins within `LEAD_DAYS`;
    None where there is nothing to do yet."""
    ahead = stretch(months, today)
    return ahead if ahead and (ahead.first - today).days <= LEAD_DAYS else None


@dataclass(frozen=True)
class Removal:
    """A thing that is not to be where it is in this stretch, and why. `units` are those there,
    none where nobody counts them; `begun`: the stretch has begun, so it may be harmed already."""

    thing: Thing
    units: tuple[Units, ...]
    why: tuple[Threat, ...]
    stretch: Stretch
    begun: bool


def removals(
    units: Iterable[Units], weather: Weather, today: date, uncounted: Iterable[Thing] = ()
) -> list[Removal]:
    """Return what has to leave a kit or a shelf for the weather there, the soonest first; a thing
    once, with all its units."""
    held: dict[Thing, list[Units]] = {thing: [] for thing in uncounted}
    for row in units:
        if row.count:
            held.setdefault(row.batch.thing, []).append(row)
    leaving = []
    for thing, rows in held.items():
        by_threat = threats(thing, weather)
        ahead = due(frozenset().union(*by_threat.values()), today)
        if ahead is not None:
            why = tuple(x for x, months in by_threat.items() if _falls_in(months, ahead))
            leaving.append(Removal(thing, tuple(rows), why, ahead, today >= ahead.first))
    return sorted(leaving, key=lambda row: (row.stretch.first, row.thing.name, row.thing.id))


def may_return(thing: Thing, weather: Weather, today: date) -> bool:
    """Return whether a thing that was taken away for the weather may be back: nothing harms it
    today or within `LEAD_DAYS`, so that it does not have to leave again at once."""
    return due(frozenset().union(*threats(thing, weather).values()), today) is None


def may_be_kept(kit: KitState, thing: Thing, today: date) -> bool:
    """Return whether a thing may be in a kit where that is kept, today and within `LEAD_DAYS`."""
    return kit.weather is None or may_return(thing, kit.weather, today)


def _falls_in(months: frozenset[int], ahead: Stretch) -> bool:
    return bool(months & months_of(ahead.first, ahead.last))


def months_of(first: date, last: date) -> frozenset[int]:
    """Return the months from a day through another one."""
    count = (last.year - first.year) * 12 + last.month - first.month
    return frozenset((first.month - 1 + n) % 12 + 1 for n in range(min(count, 11) + 1))
