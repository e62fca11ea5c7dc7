"""What a season's order says line by line: why so many, and what is lacked where nothing, or less,
is ordered. It names what is left out, a must-have first; it never advises to do without."""

import enum
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from kits.rules.buying.season import ENOUGH, Order, Season, Want
from kits.rules.buying.season_costs import enough_units, lacking, left_over, out_of_date
from kits.rules.ledger.facts import Criticality

ROUNDING = 1e-9


class Basis(enum.StrEnum):
    """What the use of an item in a season was worked out from: the trips that are coming, or those
    of the same weeks a year ago, and how often needs come up; what was used before; or nothing."""

    COMING_TRIPS = "coming-trips"
    TRIPS_A_YEAR_AGO = "last-year"
    RECORDED_USE = "use"
    NO_USE = "no-use"


@dataclass(frozen=True)
class Lack:
    """What a season lacks: units that kits are short of, and how many more than there are would be
    wanted in it on average."""

    kits: int
    use: float


@dataclass(frozen=True)
class OrderLine:
    """Packs of an offer, what they cost, and what their units are for: kits that are short now, use
    in the season until there are enough of it, classes, and more, since packs are whole or it is
    cheaper so.
    `without`: what the season lacks of the item if this line alone is left out.
    """

    offer: int
    item: int
    packs: int
    cost: Decimal
    for_kits: int
    for_use: int
    for_class: int
    more: int
    matters: Criticality
    without: Lack

    @property
    def units(self) -> int:
        """In all."""
        return self.for_kits + self.for_use + self.for_class + self.more


@dataclass(frozen=True)
class Outlook:
    """How an item stands through the season with an order: units that kits still lack, the chance
    that more are used than there are, how many are lacked then and go out of date on average, and
    units that classes still lack.
    """

    item: int
    matters: Criticality
    kits_lack: int
    runs_out: float
    lacked: float
    out_of_date: float
    classes_lack: int = 0

    @property
    def enough(self) -> bool:
        """No kit is short, and there are enough as surely as `ENOUGH` says; also for classes."""
        return self.enough_for_kits and not self.classes_lack

    @property
    def enough_for_kits(self) -> bool:
        """No kit is short, and there are enough as surely as `ENOUGH` says."""
        return not self.kits_lack and self.runs_out <= 1 - ENOUGH[self.matters] + 1e-9


def order_lines(season: Season, order: Order) -> list[OrderLine]:
    """The lines of an order, by item in the order of its wants."""
    return [line for want in season.wants for line in _of_item(season, order, want)]


def _of_item(season: Season, order: Order, want: Want) -> Iterator[OrderLine]:
    kits = max(0, want.short - want.on_hand)
    use = enough_units(want) - kits
    in_class = max(0, want.for_class - left_over(want, 0))
    all_units = order.units(season, want.item)
    for offer in season.offered.get(want.item, ()):
        if packs := order.packs.get(offer.id, 0):
            units = packs * offer.units
            for_kits = min(units, kits)
            for_use = min(units - for_kits, use)
            for_class = min(units - for_kits - for_use, in_class)
            kits, use, in_class = kits - for_kits, use - for_use, in_class - for_class
            yield OrderLine(
                offer.id, want.item, packs, offer.cost(packs), for_kits, for_use, for_class,
                units - for_kits - for_use - for_class, want.matters,
                Lack(*lacking(want, all_units - units)),
            )  # fmt: skip


@dataclass(frozen=True)
class InStock:
    """Units (1 or more) that are good for so many more days; None: without an end."""

    units: int
    good_days: int | None = None


@dataclass(frozen=True)
class Asked:
    """What a season asks of stock, over so many `days`: so many units that kits lack now, so many
    in all from a day on (counted from now; None: no more than now), and `used` a day on average."""

    days: int
    short_now: int
    short: int
    short_from: int | None
    used: float


def lasts_days(stock: Iterable[InStock], asked: Asked) -> int:
    """For how many of the days there is enough in stock to fill kits: until then none has to be
    short. What ends first is used first; kits are filled with what is good longest."""
    left = [
        (math.inf if row.good_days is None else row.good_days, float(row.units)) for row in stock
    ]
    left.sort()
    more_at = asked.days if asked.short_from is None else min(asked.short_from, asked.days)
    now = 0.0
    for taken, until in (
        (asked.short_now, more_at),
        (max(0, asked.short - asked.short_now), asked.days),
    ):
        if taken and sum(units for _good, units in left) < taken - ROUNDING:
            return int(now + ROUNDING)
        left = _without_last(left, taken)
        now, left = _use_up(left, now, until, asked.used)
        if now < until - ROUNDING:
            return int(now + ROUNDING)
    return asked.days


_Left = list[tuple[float, float]]
"""For how many days units are good, and how many there are, what ends first first."""


def _without_last(left: _Left, units: float) -> _Left:
    """What is left once so many units were taken of what is good longest."""
    found = []
    for good, there in reversed(left):
        taken = min(there, units)
        units -= taken
        if there > taken:
            found.append((good, there - taken))
    return found[::-1]


def _use_up(left: _Left, now: float, until: int, used: float) -> tuple[float, _Left]:
    """Through which day what is left lasts, at most `until` one, and what is left then."""
    if not used:
        return until, [row for row in left if row[0] > until]
    left = list(left)
    while left and now < until:
        good, units = left.pop(0)
        end = max(now, min(until, good, now + units / used))
        units -= (end - now) * used
        if units > ROUNDING and good > end:
            left.insert(0, (good, units))
        now = end
    return now, left


def outlooks(season: Season, order: Order) -> list[Outlook]:
    """How each wanted item stands with an order, what is not enough first, the gravest first."""
    found = [_outlook(want, order.units(season, want.item)) for want in season.wants]
    return sorted(
        found,
        key=lambda each: (
            each.enough,
            each.enough_for_kits,
            -ENOUGH[each.matters],
            -each.runs_out,
            each.item,
        ),
    )


def _outlook(want: Want, units: int) -> Outlook:
    there = want.on_hand + units - want.short
    short, lacked = lacking(want, units)
    within = sum(want.used[: max(0, there) + 1])
    return Outlook(
        item=want.item,
        matters=want.matters,
        kits_lack=short,
        runs_out=max(0.0, 1 - within),
        lacked=lacked,
        out_of_date=out_of_date(want, units),
        classes_lack=max(0, want.for_class - left_over(want, units)),
    )
