"""Kits bought filled and stripped, beside kits built from parts: what so many of them come to.

Money of one currency. A kit's list wants so many units of each item; what a bought kit does not
bring is bought in parts. Nothing of what the list wants is left out on either side: an item without
an offer is named, and what has it in its sum is then too low.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from gearroom.core.rules.grouping import grouped, summed
from kits.rules.buying.bought_kit import Fate, Part, Why
from kits.rules.buying.season import PENNY, MixedCurrencies, Offer, WrongAmount, is_money

MOST_KITS = 60
"""Beyond so many kits nobody asks."""


@dataclass(frozen=True)
class Parts:
    """What units of items cost at the offer that brings them for least, in whole packs; how many
    are left over of the packs; and the items without an offer."""

    money: Decimal
    left_over: int
    unpriced: tuple[int, ...]


@dataclass(frozen=True)
class BoughtKit:
    """A filled kit with its price, and what would become of what is in it."""

    name: str
    price: Decimal
    currency: str
    parts: tuple[Part, ...]

    def __post_init__(self) -> None:
        if not is_money(self.price):
            raise WrongAmount("A price is 0 or more, with at most two decimals.")

    def units(self, fate: Fate) -> int:
        """How many units of one such kit go one way."""
        return sum(part.units for part in self.parts if part.fate is fate)

    @property
    def kept(self) -> dict[int, int]:
        """Units that one such kit brings for the list, by the item that they count as."""
        return dict(
            summed(
                (part.serves, part.units)
                for part in self.parts
                if part.fate is Fate.KEEP and part.serves is not None
            )
        )


@dataclass(frozen=True)
class Way:
    """A way to come by so many kits: `bought` filled (None: all from parts) and filled up with
    parts. `goods`: what the filled kits cost; `each_kept`: that over the units kept of them (None:
    none is). `expires`: units in them that are out of date before they would be used;
    `off_shelves`: units that lie on shelves as extras and need not be bought, and what they would
    cost in parts."""

    bought: BoughtKit | None
    kits: int
    goods: Decimal
    parts: Parts
    each_kept: Decimal | None
    expires: int
    off_shelves: int = 0
    worth: Decimal = Decimal(0)

    @property
    def money(self) -> Decimal:
        """In all."""
        return self.goods + self.parts.money


def parts(wanted: Mapping[int, int], offers: Mapping[int, Sequence[Offer]]) -> Parts:
    """What so many units (0 or more) of each item cost in parts; `offers` by item."""
    money, left_over, unpriced = Decimal(0), 0, []
    for item, units in sorted(wanted.items()):
        if units <= 0:
            continue
        if not offers.get(item):
            unpriced.append(item)
            continue
        cost, bought = min(_purchases(offers[item], units))
        money += cost
        left_over += bought - units
    return Parts(money, left_over, tuple(unpriced))


def _purchases(offers: Iterable[Offer], units: int) -> Iterable[tuple[Decimal, int]]:
    """What at least so many units cost at each offer and each of its prices, and how many come."""
    for offer in offers:
        for price in offer.prices:
            packs = max(price.packs, -(-units // offer.units))
            yield offer.cost(packs), packs * offer.units


def ways(
    kits: int,
    wanted: Mapping[int, int],
    bought: Sequence[BoughtKit],
    offers: Sequence[Offer],
    currency: str,
    extras: Mapping[int, int] | None = None,
) -> list[Way]:
    """Ways to come by so many kits (1 or more), of which each `wanted` so many units of items, what
    costs least first; with parts alone among them. `extras`: units by item that lie on shelves and
    that no other kit wants; they are used before parts are bought. Raises `MixedCurrencies`."""
    if kits < 1:
        raise WrongAmount("There is one kit or more.")
    other = {kit.currency for kit in bought} | {offer.currency for offer in offers}
    other -= {currency}
    if other:
        raise MixedCurrencies(f"{', '.join(sorted(other))} cannot be compared with {currency}.")
    by_item = grouped((offer.item, offer) for offer in offers)
    found = [_way(kits, wanted, kit, by_item, extras or {}) for kit in (None, *bought)]
    return sorted(found, key=lambda way: (len(way.parts.unpriced), way.money))


def _way(
    kits: int,
    wanted: Mapping[int, int],
    bought: BoughtKit | None,
    offers: Mapping[int, Sequence[Offer]],
    extras: Mapping[int, int],
) -> Way:
    kept = bought.kept if bought else {}
    rest = {item: kits * max(0, units - kept.get(item, 0)) for item, units in wanted.items()}
    there = {item: min(units, extras.get(item, 0)) for item, units in rest.items()}
    added = parts({item: units - there[item] for item, units in rest.items()}, offers)
    off_shelves = sum(there.values())
    # What has no offer counts in neither sum.
    worth = parts(rest, offers).money - added.money
    if bought is None:
        return Way(None, kits, Decimal(0), added, None, 0, off_shelves, worth)
    goods, units = kits * bought.price, bought.units(Fate.KEEP)
    expires = sum(part.units for part in bought.parts if part.why is Why.EXPIRES_FIRST)
    each = (bought.price / units).quantize(PENNY) if units else None
    return Way(bought, kits, goods, added, each, kits * expires, off_shelves, worth)


def kept_in_parts(bought: BoughtKit, kits: int, offers: Sequence[Offer]) -> Decimal | None:
    """What a unit that is kept of so many (1 or more) such filled kits costs in parts; None where
    nothing is kept, or something that is has no price."""
    units = {item: kits * count for item, count in bought.kept.items()}
    found = parts(units, grouped((offer.item, offer) for offer in offers))
    if not units or found.unpriced:
        return None
    return (found.money / sum(units.values())).quantize(PENNY)


def parts_win_from(
    wanted: Mapping[int, int],
    bought: BoughtKit,
    offers: Sequence[Offer],
    most: int = MOST_KITS,
    extras: Mapping[int, int] | None = None,
) -> int | None:
    """From how many kits on, up to `most`, parts alone cost no more than such filled kits; None
    where they do not, or where an item has no price."""
    wins = None
    for kits in range(most, 0, -1):
        compared = ways(kits, wanted, [bought], offers, bought.currency, extras)
        if any(way.parts.unpriced for way in compared):
            return None
        by_kind = {way.bought is None: way.money for way in compared}
        if by_kind[True] > by_kind[False]:
            break
        wins = kits
    return wins
