"""What an order comes to: its money, what goes out of date of it, and what a season then lacks.

Each unit lacked is charged so that units are bought until there are enough with the certainty that
`season.ENOUGH` asks for: a unit that is wanted with the chance p is worth p / (1 - certainty) of
its price. A unit that kits lack now is charged that much of the least order that brings it, so
that a large pack is no reason to go without. What is thrown away is charged its lowest price once
more. The charge only weighs one order against another: it is no price of a need, and is not shown
as one.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kits.rules.buying.season import ENOUGH, Offer, Order, Season, Want

HARDLY = 1e-4
"""What is wanted with a smaller chance is never bought for."""
Amounts = NDArray[np.float64]


@dataclass(frozen=True)
class Charge:
    """What a unit of an item is charged: lacked by a kit now, wanted in the season and lacked, gone
    out of date."""

    short: float
    lacked: float
    wasted: float


def charge(want: Want, offers: list[Offer]) -> Charge:
    """The charges of an item with offers (one or more)."""
    each = [float(price.each) / offer.units for offer in offers for price in offer.prices]
    weight = 1 / (1 - ENOUGH[want.matters])
    lacked = weight * max(each)
    entry = float(min(offer.entry for offer in offers))
    # At least a penny: what is given away is taken too.
    return Charge(max(weight * entry, lacked, 0.01), max(lacked, 1e-5), min(each))


def lacking(want: Want, units: int) -> tuple[int, float]:
    """With so many units bought: those that kits lack still, and what the season is to lack besides
    on average."""
    there = want.on_hand + units - want.short
    return max(0, -there), float(_above(want.used, 0, max(0, there) + 1)[max(0, there)])


def out_of_date(want: Want, units: int) -> float:
    """How many units go out of date on average with so many bought."""
    if want.kept is None:
        return 0.0
    return float(_left(want.kept, want.on_hand + units - want.short, 1)[0])


def curve(want: Want, offers: list[Offer], most: int) -> Amounts:
    """What 0, 1, 2 … `most` units bought come to besides their price. Convex."""
    per = charge(want, offers)
    there = want.on_hand - want.short  # below 0: so many are short
    at = np.arange(there, there + most + 1)
    found = per.short * np.maximum(-at, 0) + per.lacked * _above(want.used, there, most + 1)
    if want.kept is not None:
        found = found + per.wasted * _left(want.kept, there, most + 1)
    return np.asarray(found, dtype=np.float64)


def _above(chances: tuple[float, ...], first: int, count: int) -> Amounts:
    """How much more than `first`, `first` + 1 … (0 where below 0) is wanted on average."""
    given = np.asarray(chances)
    more = np.concatenate((given[::-1].cumsum()[::-1][1:], [0.0]))  # of more than 0, 1, 2 …
    sums = np.concatenate((more[::-1].cumsum()[::-1], [0.0]))
    at = np.clip(np.arange(first, first + count), 0, len(sums) - 1)
    return np.asarray(sums[at])


def _left(chances: tuple[float, ...], first: int, count: int) -> Amounts:
    """How much of `first`, `first` + 1 … is left over on average."""
    given = np.asarray(chances)
    mean = float((given * np.arange(len(given))).sum())
    at = np.maximum(np.arange(first, first + count), 0)
    left: Amounts = np.maximum(at - mean + _above(chances, first, count), 0.0)  # of its rounding
    return left


def enough_units(want: Want) -> int:
    """The fewest units to buy so that there are enough as surely as `ENOUGH` says."""
    reached = np.flatnonzero(np.cumsum(want.used) >= ENOUGH[want.matters])
    used = int(reached[0]) if reached.size else len(want.used)
    return max(0, want.short + used - want.on_hand)


def left_over(want: Want, units: int) -> int:
    """How many units are left for classes with so many bought, once there are enough for kits."""
    return max(0, want.on_hand + units - enough_units(replace(want, on_hand=0)))


def most_units(want: Want) -> int:
    """The units beyond which more are hardly ever lacked."""
    more = 1 - np.cumsum(want.used)
    used = int(np.flatnonzero(more <= HARDLY)[0]) if more[-1] <= HARDLY else len(more)
    return max(0, want.short + used - want.on_hand)


def most_packs(offer: Offer, want: Want, season: Season) -> int:
    """No order that comes to least has more packs of an offer: they cost more than they are worth
    and than a free delivery saves, and a least order is reached without them."""
    needed = most_units(want)
    if not needed:
        return 0
    supplier = season.sellers[offer.supplier]
    least, each = offer.prices[-1].packs, float(offer.prices[-1].each)
    saves, to_least = (
        (float(supplier.delivery), math.ceil(float(supplier.least_order) / each))
        if each
        else (0.0, 0)
    )
    furthest = max(-(-needed // offer.units), least) + (int(saves / each) if each else 0)
    charges = curve(want, season.offered[want.item], furthest * offer.units)
    comes_to = (charges[:: offer.units] + each * np.arange(furthest + 1))[least:]
    best = int(comes_to.argmin())
    pays = np.flatnonzero(comes_to <= comes_to[best] + saves)
    return least + max(int(pays[-1]), best + to_least)


def least_charge(want: Want, offers: list[Offer]) -> float:
    """What an item comes to at least besides its price, with whatever number of units."""
    return float(curve(want, offers, max(0, len(want.used) - want.on_hand + want.short)).min())


def cost(season: Season, order: Order) -> float:
    """What an order comes to: its money, and what it lacks and wastes above the least that any
    number of units could reach."""
    found = float(order.money(season))
    for want in season.wants:
        if offers := season.offered.get(want.item):
            units = order.units(season, want.item)
            found += float(curve(want, offers, units)[units]) - least_charge(want, offers)
    return found
