"""What a season's order is decided from: what is wanted, what is offered, by whom, and the budget.

Money is `Decimal` of one currency with at most two decimals; prices include what tax is paid.
Units are base units of an item.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from decimal import ROUND_HALF_UP, Decimal
from functools import cached_property

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger.facts import Criticality

ENOUGH = {
    Criticality.ROUTINE: 0.90,
    Criticality.IMPORTANT: 0.98,
    Criticality.MUST_HAVE: 0.995,
}
"""How sure it should be that there are enough of an item through the season, by what it matters."""
PENNY = Decimal("0.01")


class MixedCurrencies(ValueError):
    """Amounts of several currencies cannot be added up."""


class WrongAmount(ValueError):
    """A price, number or chance that cannot be."""


def _check(*wrong: tuple[bool, str]) -> None:
    for is_so, says in wrong:
        if is_so:
            raise WrongAmount(says)


def is_money(amount: Decimal) -> bool:
    """Whether it is 0 or more with at most two decimals."""
    return amount.is_finite() and amount >= 0 and amount == amount.quantize(PENNY)


@dataclass(frozen=True)
class Price:
    """What a pack costs each where at least so many `packs` (1 or more) are bought."""

    packs: int
    each: Decimal

    def __post_init__(self) -> None:
        _check(
            (self.packs < 1, "A price holds from one pack on or more."),
            (not is_money(self.each), "A price is 0 or more, with at most two decimals."),
        )


@dataclass(frozen=True)
class Offer:
    """Packs of `units` (1 or more) of an item at a supplier. `prices` in rising order of packs: the
    first is from the least that may be ordered, later ones hold for all packs of an order that is
    large enough."""

    id: int
    item: int
    supplier: int
    units: int
    currency: str
    prices: tuple[Price, ...]

    def __post_init__(self) -> None:
        packs = [price.packs for price in self.prices]
        _check(
            (self.units < 1, "A pack holds one unit or more."),
            (not self.prices, "An offer has a price."),
            (packs != sorted(set(packs)), "Prices stand in rising order of packs."),
        )

    @property
    def least(self) -> int:
        """The fewest packs that may be ordered."""
        return self.prices[0].packs

    @property
    def entry(self) -> Decimal:
        """What the least order costs."""
        return self.prices[0].each * self.least

    def cost(self, packs: int) -> Decimal:
        """What so many packs cost: none, or at least the fewest that may be ordered."""
        if packs == 0:
            return Decimal(0)
        _check((packs < self.least, f"At least {self.least} packs are ordered."))
        return packs * max((p for p in self.prices if p.packs <= packs), key=lambda p: p.packs).each


@dataclass(frozen=True)
class Supplier:
    """Who sells: what a delivery costs, from which value of goods on it is free (None: never), and
    the least value of goods in an order."""

    id: int
    delivery: Decimal = Decimal(0)
    free_from: Decimal | None = None
    least_order: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        money = [self.delivery, self.least_order]
        money += [] if self.free_from is None else [self.free_from]
        _check((not all(map(is_money, money)), "Costs are 0 or more, with at most two decimals."))

    def charges(self, goods: Decimal) -> Decimal:
        """What delivery of goods of this value costs."""
        free = self.free_from is not None and goods >= self.free_from
        return Decimal(0) if free else self.delivery


@dataclass(frozen=True)
class Want:
    """What a season asks of an item.

    `short`: units that kits lack now; `used`: chances of 0, 1, 2 … units used in the season;
    `on_hand`: usable units that last through it, and those on order; `kept`: chances of units used
    while fresh ones keep, None where they need no date. `matters`: what the gravest line with the
    item says. `for_class`: units that classes need besides what is set aside for training; they
    are no part of the rest.
    """

    item: int
    short: int
    used: tuple[float, ...]
    on_hand: int = 0
    kept: tuple[float, ...] | None = None
    matters: Criticality = Criticality.ROUTINE
    for_class: int = 0

    def __post_init__(self) -> None:
        _check((min(self.short, self.on_hand, self.for_class) < 0, "Units are 0 or more."))
        for chances in (self.used, self.kept):
            if chances is not None:
                low, whole = min(chances, default=-1.0), sum(chances)
                _check((not (low >= 0 and 0.999 < whole < 1.001), "Chances add up to 1."))


@dataclass(frozen=True)
class Season:
    """All of it, in one currency. Without a `budget` (None) money is spent as it pays. Raises
    `MixedCurrencies`; `WrongAmount` for what is there twice or not known."""

    currency: str
    wants: tuple[Want, ...]
    offers: tuple[Offer, ...]
    suppliers: tuple[Supplier, ...]
    budget: Decimal | None = None

    def __post_init__(self) -> None:
        other = sorted({offer.currency for offer in self.offers} - {self.currency})
        if other:
            raise MixedCurrencies(
                f"Offers in {', '.join(other)} cannot be planned in {self.currency}."
            )
        known = {supplier.id for supplier in self.suppliers}
        _check(
            (_twice(want.item for want in self.wants), "An item is wanted once."),
            (_twice(offer.id for offer in self.offers), "An offer is there once."),
            (len(known) < len(self.suppliers), "A supplier is there once."),
            (any(o.supplier not in known for o in self.offers), "An offer is of a known supplier."),
            (
                self.budget is not None and not is_money(self.budget),
                "A budget is 0 or more, with at most two decimals.",
            ),
        )

    def in_order(self) -> "Season":
        """The same with its rows in the order of their ids."""
        return replace(
            self,
            wants=tuple(sorted(self.wants, key=lambda want: want.item)),
            offers=tuple(sorted(self.offers, key=lambda offer: offer.id)),
            suppliers=tuple(sorted(self.suppliers, key=lambda supplier: supplier.id)),
        )

    @cached_property
    def offered(self) -> dict[int, list[Offer]]:
        """The offers of each wanted item that has some, by its id."""
        by_item = grouped((offer.item, offer) for offer in self.offers)
        return {want.item: by_item[want.item] for want in self.wants if want.item in by_item}

    @cached_property
    def sellers(self) -> dict[int, Supplier]:
        """Suppliers by id."""
        return {supplier.id: supplier for supplier in self.suppliers}

    @cached_property
    def by_id(self) -> dict[int, Offer]:
        """Offers by id."""
        return {offer.id: offer for offer in self.offers}


def _twice(ids: Iterable[int]) -> bool:
    known = list(ids)
    return len(set(known)) < len(known)


@dataclass(frozen=True)
class Order:
    """So many packs of offers (1 or more of each, by its id)."""

    packs: dict[int, int] = field(default_factory=dict)

    def goods(self, season: Season) -> dict[int, Decimal]:
        """The value of goods from each supplier that something is ordered from, by its id."""
        found: dict[int, Decimal] = {}
        for offer, packs in sorted(self.packs.items()):
            of = season.by_id[offer]
            found[of.supplier] = found.get(of.supplier, Decimal(0)) + of.cost(packs)
        return found

    def deliveries(self, season: Season) -> dict[int, Decimal]:
        """What delivery costs, by supplier."""
        return {s: season.sellers[s].charges(goods) for s, goods in self.goods(season).items()}

    def money(self, season: Season) -> Decimal:
        """What it costs in all."""
        goods, deliveries = self.goods(season), self.deliveries(season)
        return sum((*goods.values(), *deliveries.values()), Decimal(0))

    def units(self, season: Season, item: int) -> int:
        """How many units of an item come."""
        offers = season.offered.get(item, ())
        return sum(self.packs.get(offer.id, 0) * offer.units for offer in offers)

    def may_be(self, season: Season) -> bool:
        """Whether every offer and supplier takes it and the budget covers it."""
        least = all(packs >= season.by_id[offer].least for offer, packs in self.packs.items())
        return (
            least
            and all(v >= season.sellers[s].least_order for s, v in self.goods(season).items())
            and (season.budget is None or self.money(season) <= season.budget)
        )


def with_tax(price: Decimal, percent: Decimal) -> Decimal:
    """A price with so much tax added, to a penny, a half rounded up."""
    return (price * (1 + percent / 100)).quantize(PENNY, ROUND_HALF_UP)
