"""What deliveries teach: for how long things keep when they come, how long they take to come, and
what they cost. Medians, with how many deliveries each rests on."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import median

from gearroom.core.rules.grouping import grouped

ENOUGH_DELIVERIES = 3
"""With fewer, a lead time that somebody stated holds."""


@dataclass(frozen=True)
class Delivery:
    """Units (1 or more) of an item that came from a supplier (empty: not known) on a day. `price`
    is for all of them, in `currency`; None where it is not known. `ordered_on` None: not known;
    `expiry` None: no date."""

    item: int
    supplier: str
    came_on: date
    units: int
    price: Decimal | None = None
    currency: str = ""
    expiry: date | None = None
    ordered_on: date | None = None


@dataclass(frozen=True)
class Days:
    """A median of days, over so many deliveries (1 or more)."""

    days: int
    deliveries: int


@dataclass(frozen=True)
class UnitPrice:
    """What a unit cost on a day, from whom, bought with so many others."""

    day: date
    supplier: str
    each: Decimal
    currency: str
    units: int


Key = tuple[int, str | None]
"""An item at a supplier; at None, from whomever it came."""


def shelf_lives(deliveries: Iterable[Delivery]) -> dict[Key, Days]:
    """For how many days things keep when they come, by item and supplier. What was out of date on
    arrival says nothing."""
    return _medians(
        deliveries, lambda d: None if d.expiry is None else (d.expiry - d.came_on).days or None
    )


def lead_times(deliveries: Iterable[Delivery]) -> dict[Key, Days]:
    """How many days pass from ordering to having, by item and supplier."""
    return _medians(
        deliveries, lambda d: None if d.ordered_on is None else (d.came_on - d.ordered_on).days
    )


def _medians(
    deliveries: Iterable[Delivery], days_of: Callable[[Delivery], int | None]
) -> dict[Key, Days]:
    known = grouped(
        (key, days)
        for each in deliveries
        if (days := days_of(each)) is not None and days >= 0
        for key in ((each.item, None), (each.item, each.supplier))
        if key[1] != ""
    )
    return {key: Days(round(median(days)), len(days)) for key, days in known.items()}


def lead_days(learned: Days | None, stated: int) -> int:
    """How many days a delivery takes: as learned, once from enough deliveries, else as stated."""
    enough = learned is not None and learned.deliveries >= ENOUGH_DELIVERIES
    return learned.days if learned is not None and enough else stated


def prices(deliveries: Iterable[Delivery]) -> dict[int, list[UnitPrice]]:
    """What a unit of each item cost, the oldest first; in the currencies that were paid."""
    return grouped(
        (
            each.item,
            UnitPrice(
                each.came_on, each.supplier, each.price / each.units, each.currency, each.units
            ),
        )
        for each in sorted(deliveries, key=lambda each: each.came_on)
        if each.price is not None
    )


def dearer(history: list[UnitPrice]) -> Decimal | None:
    """By what share the latest price is above (or, below 0, below) the one before it in the same
    currency; None without one, or where that was nothing."""
    if not history:
        return None
    before = [each for each in history[:-1] if each.currency == history[-1].currency]
    if not before or not before[-1].each:
        return None
    share = history[-1].each / before[-1].each - 1
    return share if math.isfinite(share) else None
