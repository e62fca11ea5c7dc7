"""How many units of each item a room is likely to use in a season: from how often its needs come up
and the trips that are coming; else from what it used before.

Trips are booked late, so the coming ones are held against those of the same weeks a year ago: what
has more participant-days is taken. Demand of a need goes to the best items that the room's kits
carry for it; what only stands in for them is not ordered for it.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet

from gearroom.core import clock
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Activity, Item, ItemNeed, Kit, ListLine, Need, Trip
from kits.rules.buying.order_levels import Use, use_over
from kits.rules.buying.order_lines import Basis
from kits.rules.ledger.facts import USED_UP
from kits.rules.planning import demand as demands, quantities
from kits.rules.planning.demand import Probabilities
from kits.rules.planning.records import units_per_use
from kits.services.planning.plans import sizes_of_use
from kits.services.planning.records.rates import Records, records
from kits.services.stock.order_levels import stock_levels, stock_use
from kits.services.stock.order_levels.stock_levels import LOOKS_BACK_DAYS

A_YEAR = timedelta(days=364)
"""Whole weeks, so that weekends are held against weekends."""


@dataclass(frozen=True)
class Exposure:
    """Participant-days of a room's trips by activity (id; None: not stated), and which trips."""

    days: Mapping[int | None, int]
    basis: Basis


@dataclass(frozen=True)
class Expected:
    """Chances of 0, 1, 2 … units used in the season, and while fresh units keep (None where they
    need no date), with what both were worked out from."""

    used: tuple[float, ...]
    kept: tuple[float, ...] | None
    basis: Basis


def expected(
    room: Room, items: Mapping[int, Item], today: date, through: date, life: Mapping[int, int]
) -> dict[int, Expected]:
    """What a room is likely to use of items, by id. `life`: for how many days fresh units of those
    that need a date keep."""
    days = (through - today).days
    since = today - timedelta(days=LOOKS_BACK_DAYS)
    uses = {item: rows for (_room, item), rows in stock_use.uses({room.pk: room}, since).items()}
    first = stock_levels.first_received(items)
    known = records()
    parts = _parts(room, items, known)
    exposure = _exposure(room, today, through)
    found = {}
    for pk in items:
        used = _used(parts[pk], known, exposure) if pk in parts and exposure.days else None
        if used is not None:
            keeps = life[pk] / days if pk in life else None
            kept = None if keeps is None else _used(parts[pk], known, exposure, keeps)
            found[pk] = Expected(used, kept, exposure.basis)
            continue
        began = max(since, clock.local_date(first[pk], room.time_zone)) if pk in first else since
        found[pk] = _recorded(uses.get(pk, ()), min(began, today), today, days, life.get(pk))
    return found


def _recorded(
    acts: Sequence[Use], since: date, today: date, days: int, life: int | None
) -> Expected:
    """By what was used since a day."""
    return Expected(
        use_over(acts, recorded_from=since, today=today, days=days),
        None if life is None else use_over(acts, recorded_from=since, today=today, days=life),
        Basis.RECORDED_USE if acts else Basis.NO_USE,
    )


@dataclass(frozen=True)
class _Part:
    """A need that an item serves, and on what share of the room's participant-days kits went that
    carry something for it."""

    need: Need
    units: tuple[float, ...]
    share: float


def _used(
    parts: Sequence[_Part], known: Records, exposure: Exposure, times: float = 1.0
) -> tuple[float, ...] | None:
    """Chances of units used over so many times the exposure; None where a need has no rate."""
    activities = Activity.objects.in_bulk([key for key in exposure.days if key])
    wants: list[Probabilities] = []
    for key, days in exposure.days.items():
        for part in parts:
            rate = known.rate_in(part.need, activities.get(key or 0))
            over = days * part.share * times
            if rate.rate is None:
                return None
            if over > 0:
                units = demands.units_of_use(part.units)
                wants.append(demands.demand(rate.rate, over, units))
    chances = quantities.together(wants)
    return tuple(float(chance) for chance in chances / chances.sum())


def _parts(room: Room, items: Mapping[int, Item], known: Records) -> dict[int, list[_Part]]:
    """The items whose use follows from needs, with these: used up, counted, carried by the room's
    kits, and the only best thing that they carry for each need it serves."""
    rows = ItemNeed.objects.filter(
        item__in=carried(room), best=True, need__retired_on=None
    ).select_related("need")
    serves = grouped((row.item_id, row) for row in rows)
    best = summed((row.need_id, 1) for row in rows)
    shares, sizes = _shares(room, known), sizes_of_use(known)
    return {
        pk: [
            _Part(
                row.need,
                tuple(units_per_use.chances(row.units_per_use, sizes.get(pk, {}))),
                shares.get(row.need_id, 1.0),
            )
            for row in of_item
        ]
        for pk, of_item in serves.items()
        if pk in items
        and items[pk].kind in USED_UP
        and not items[pk].by_eye
        and all(best[row.need_id] == 1 for row in of_item)
    }


def carried(room: Room) -> set[int]:
    """The items (ids) on the lists of the kits at home in a room."""
    return set(lines(room).order_by().values_list("item", flat=True))


def lines(room: Room) -> QuerySet[ListLine]:
    """The lines of the lists of the kits at home in a room that people rely on."""
    kits = Kit.objects.filter(home_room=room, retired_on=None, training=False)
    return ListLine.objects.filter(section__version__kits__in=kits)


def _shares(room: Room, known: Records) -> dict[int, float]:
    """Of each need (id), on what share of the participant-days of the room's past trips its kits
    carried something for it."""
    own = [seen for seen in known.observations if seen.trip.trip.room_id == room.pk]
    trips = {seen.trip.trip.pk: seen.trip.trip for seen in own}.values()
    whole = sum(trip.people * ((trip.last_day - trip.first_day).days + 1) for trip in trips)
    days: dict[int, float] = defaultdict(float)
    for seen in own:
        days[seen.need] += seen.days
    return {need: min(1.0, of_need / whole) for need, of_need in days.items()}


def _exposure(room: Room, today: date, through: date) -> Exposure:
    """The participant-days of a season: those of the coming trips, or of the same weeks a year
    ago where they had more."""
    coming = _days(room, today, through)
    before = _days(room, today - A_YEAR, through - A_YEAR)
    if sum(before.values()) > sum(coming.values()):
        return Exposure(before, Basis.TRIPS_A_YEAR_AGO)
    return Exposure(coming, Basis.COMING_TRIPS)


def _days(room: Room, first: date, last: date) -> dict[int | None, int]:
    trips = Trip.objects.filter(
        room=room, cancelled_at__isnull=True, last_day__gte=first, first_day__lte=last
    )
    return summed((trip.activity_id, trip.people * _inside(trip, first, last)) for trip in trips)


def _inside(trip: Trip, first: date, last: date) -> int:
    return (min(trip.last_day, last) - max(trip.first_day, first)).days + 1
