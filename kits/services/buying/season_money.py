"""What rooms threw away unused this season and what they saved, in money, from the stock book."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.db.models import Min, Q, QuerySet

from gearroom.core import clock
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from kits.models import INNER, Entry, EntryKind, Movement, PlaceKind, Receipt
from kits.rules.buying import season_money as rules
from kits.rules.buying.receipts import UnitPrice
from kits.rules.buying.season_money import Cause, SeasonMoney
from kits.rules.planning.seasons import season_of
from kits.services.planning.past_use import THROWN_OUT
from kits.services.stock.order_levels import deliveries

A_YEAR = timedelta(days=364)
"""Whole weeks, so that weekends are held against weekends."""


@dataclass(frozen=True)
class Portion:
    """Units of an item that a leg moved, and on which day."""

    item: int
    units: int
    cause: Cause
    day: date


def of_rooms(rooms: Iterable[Room], today: date) -> dict[int, SeasonMoney]:
    """Of the season that a day is in, up to that day, by room (id). Seven queries."""
    ids = [room.pk for room in rooms]
    first = season_of(today).first
    thrown = _thrown_out(ids, first - A_YEAR)
    extras, bought = _extras(ids, first), _bought(ids, first)
    items = {
        *(each.item for rows in thrown.values() for each in rows),
        *(item for rows in extras.values() for item, _units in rows),
        *(item for rows in bought.values() for item, _price in rows),
    }
    prices = deliveries.learned(items).prices if items else {}
    entries = Entry.objects.filter(room__in=ids).order_by()
    began = dict(entries.values_list("room").annotate(first=Min("occurred_at")))
    found = {}
    for pk in ids:
        now = [each for each in thrown[pk] if first <= each.day <= today]
        before = [each for each in thrown[pk] if first - A_YEAR <= each.day <= today - A_YEAR]
        causes = grouped((each.cause, (each.item, each.units)) for each in now)
        is_known = pk in began and _day(began[pk]) <= first - A_YEAR
        found[pk] = SeasonMoney(
            {cause: rules.worth(causes[cause], prices) for cause in Cause if cause in causes},
            rules.worth([(x.item, x.units) for x in before], prices) if is_known else None,
            rules.worth(extras[pk], prices),
            rules.compared(bought[pk], prices),
        )
    return found


def _thrown_out(rooms: Sequence[int], since: date) -> dict[int, list[Portion]]:
    """What was thrown out unused, and what of filled kits was never kept, by room."""
    of_kit = Q(from_place__kind=PlaceKind.SUPPLIER, entry__kind=EntryKind.STRIP)
    legs = (
        _legs(rooms, since)
        .filter(Q(from_place__kind__in=INNER) | of_kit, to_place__kind__in=THROWN_OUT)
        .exclude(entry__kind=EntryKind.USE)
        .select_related("lot", "entry")
    )
    return grouped((leg.entry.room_id or 0, _portion(leg)) for leg in legs)


def _portion(leg: Movement) -> Portion:
    day, expiry = _day(leg.entry.occurred_at), leg.lot.expiry
    cause = Cause.OTHER
    if leg.entry.kind == EntryKind.STRIP:
        cause = Cause.BOUGHT_KIT
    elif expiry is not None and expiry < day:
        cause = Cause.OUT_OF_DATE
    return Portion(leg.lot.item_id, leg.units, cause, day)


def _extras(rooms: Sequence[int], since: date) -> dict[int, list[tuple[int, int]]]:
    """Units that came onto a shelf out of a filled kit and went into kits, by room. Each counts
    when and where it first went into one, so what went in before, or in another room, and came back
    counts no more. Of a batch that was also bought nobody knows which of its units these were: it
    is left out."""
    came = Movement.objects.filter(
        from_place__kind=PlaceKind.SUPPLIER, entry__reversed_by__isnull=True
    )
    out_of_kits = came.filter(entry__kind=EntryKind.STRIP, to_place__kind=PlaceKind.SHELF)
    left = summed(out_of_kits.values_list("lot", "units"))
    legs = (
        _standing()
        .filter(
            from_place__kind=PlaceKind.SHELF, to_place__kind=PlaceKind.SECTION, lot__in=list(left)
        )
        .exclude(lot__in=came.exclude(entry__kind=EntryKind.STRIP).values("lot"))
        .select_related("lot", "entry")
        .order_by("entry__occurred_at", "entry", "id")
    )
    found = []
    for leg in legs:
        units = min(leg.units, left[leg.lot_id])
        left[leg.lot_id] -= units
        if units and leg.entry.room_id in rooms and _day(leg.entry.occurred_at) >= since:
            found.append((leg.entry.room_id or 0, (leg.lot.item_id, units)))
    return grouped(found)


def _bought(rooms: Sequence[int], since: date) -> dict[int, list[tuple[int, UnitPrice]]]:
    """What deliveries cost a unit, by room."""
    rows = Receipt.objects.filter(
        entry__room__in=rooms,
        entry__kind=EntryKind.RECEIVE,
        entry__reversed_by__isnull=True,
        entry__occurred_at__date__gte=since,
    ).values_list(
        "entry__room", "lot__item", "entry__occurred_at", "supplier", "price", "units", "currency"
    )
    return grouped(
        (room, (item, UnitPrice(_day(at), supplier, price / units, currency, units)))
        for room, item, at, supplier, price, units, currency in rows
        if price is not None
    )


def _day(at: datetime) -> date:
    return clock.local_date(at, settings.TIME_ZONE)


def _legs(rooms: Sequence[int], since: date) -> QuerySet[Movement]:
    return _standing().filter(entry__room__in=rooms, entry__occurred_at__date__gte=since)


def _standing() -> QuerySet[Movement]:
    return Movement.objects.filter(entry__reversed_by__isnull=True, entry__reverses__isnull=True)
