"""What a season wasted and saved in money. Amounts of several currencies are never added up; what
has no price on record counts in units alone."""

import enum
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal

from kits.rules.buying.receipts import UnitPrice
from kits.rules.buying.season import PENNY

Amounts = Mapping[str, Decimal]
"""Money by currency."""


class Cause(enum.StrEnum):
    """Why units were thrown away unused."""

    OUT_OF_DATE = "out-of-date"
    BOUGHT_KIT = "bought-kit"  # it came in a filled kit, and nobody wanted it
    OTHER = "other"


@dataclass(frozen=True)
class Worth:
    """What so many units would cost, as far as a price is known; `unpriced` of them have none."""

    units: int = 0
    amounts: Amounts = field(default_factory=dict)
    unpriced: int = 0

    def __add__(self, other: "Worth") -> "Worth":
        return Worth(
            self.units + other.units,
            added(self.amounts, other.amounts),
            self.unpriced + other.unpriced,
        )


@dataclass(frozen=True)
class Compared:
    """By how much less (above 0) or more units cost than those bought before them; so many `units`
    have an earlier price in their currency."""

    less: Amounts = field(default_factory=dict)
    units: int = 0

    def __add__(self, other: "Compared") -> "Compared":
        return Compared(added(self.less, other.less), self.units + other.units)


@dataclass(frozen=True)
class SeasonMoney:
    """What was thrown away unused, by cause, and in the same weeks a year before (None: there are
    no records of them); extras out of filled kits that went into kits in place of bought ones; and
    what was bought beside the prices before."""

    wasted: Mapping[Cause, Worth] = field(default_factory=dict)
    year_before: Worth | None = None
    extras: Worth = field(default_factory=Worth)
    bought: Compared = field(default_factory=Compared)

    @property
    def all_wasted(self) -> Worth:
        """Whatever the cause."""
        return sum(self.wasted.values(), Worth())

    def __add__(self, other: "SeasonMoney") -> "SeasonMoney":
        years = (self.year_before, other.year_before)
        return SeasonMoney(
            {
                cause: self.wasted.get(cause, Worth()) + other.wasted.get(cause, Worth())
                for cause in Cause
                if cause in self.wasted or cause in other.wasted
            },
            # A year of which part is not on record is no measure.
            None if None in years else sum(filter(None, years), Worth()),
            self.extras + other.extras,
            self.bought + other.bought,
        )


def added(one: Amounts, other: Amounts) -> dict[str, Decimal]:
    """The sums of each currency, in the order of their codes."""
    codes = sorted({*one, *other})
    return {code: one.get(code, Decimal(0)) + other.get(code, Decimal(0)) for code in codes}


def worth(units: Iterable[tuple[int, int]], prices: Mapping[int, Sequence[UnitPrice]]) -> Worth:
    """What units (1 or more) of items are worth at the last price paid for one; `prices` of each
    item, the oldest first."""
    found = Worth()
    for item, count in units:
        last = prices[item][-1] if prices.get(item) else None
        amounts = {} if last is None else {last.currency: _pennies(last.each * count)}
        found += Worth(count, amounts, 0 if amounts else count)
    return found


def compared(
    bought: Iterable[tuple[int, UnitPrice]], prices: Mapping[int, Sequence[UnitPrice]]
) -> Compared:
    """What was bought of items beside the last price of a day before, in the same currency;
    `prices` of each item, the oldest first."""
    found = Compared()
    for item, paid in bought:
        before = [
            each
            for each in prices.get(item, ())
            if each.day < paid.day and each.currency == paid.currency
        ]
        if before:
            less = _pennies((before[-1].each - paid.each) * paid.units)
            found += Compared({paid.currency: less}, paid.units)
    return found


def _pennies(amount: Decimal) -> Decimal:
    return amount.quantize(PENNY, ROUND_HALF_UP)
