"""The order of a season that comes to least, as a mixed-integer programme.

What an order comes to is its money and the charges of `season_costs`, which are convex in the units
of an item, so that they are exact as pieces of straight lines. Prices that fall with the number of
packs, least orders and free deliveries are switches. Of many units, fewer lines stand for the
charges; they lie nowhere above them, so that the bound holds.
"""

import enum
import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

import numpy as np

from gearroom.core.rules.programme import Programme, Row
from kits.rules.buying.naive_plan import naive_order
from kits.rules.buying.season import PENNY, Offer, Order, Season, Supplier
from kits.rules.buying.season_costs import Amounts, charge, cost, curve, least_charge, most_packs

WITHIN = 0.01
"""An order within this share of the best one is good enough: use is known no better."""
SECONDS = 3.0
ROUNDING = 1e-9
MOST_LINES = 40
"""At most so many lines stand for the charges of an item, though they are further below."""
OF_LINES = 0.25
"""Lines may be below the charges by this part of the share asked for; the rest is the solver's."""


class Found(enum.StrEnum):
    """How good a plan is."""

    BEST = "best"  # within the share asked for of the best one
    STOPPED = "stopped"  # the best one found in the time there was
    BY_HAND = "by-hand"  # none was found in the time, or none better: what somebody would write


@dataclass(frozen=True)
class Plan:
    """An order, what it comes to (its money and charges) and what no order goes below, both in the
    season's currency."""

    order: Order
    found: Found
    comes_to: Decimal
    bound: Decimal

    @property
    def within(self) -> float:
        """By what share of it, at most, another order could come to less."""
        return float((self.comes_to - self.bound) / self.comes_to) if self.comes_to else 0.0


def plan(season: Season, *, seconds: float = SECONDS, within: float = WITHIN) -> Plan:
    """The order that comes to least, to `within` a share of it (0: the very least), or the best one
    found in so many `seconds` (above 0); never one that comes to more than the naive one. The same
    season has the same plan, in whatever order its rows come, unless time ran out."""
    season = season.in_order()
    by_hand = naive_order(season)
    naive = cost(season, by_hand)
    programme, columns = _programme(season, within * OF_LINES)
    solution = programme.solve(seconds, within * (1 - OF_LINES))
    bound = max(0.0, solution.bound)
    order = None if solution.values is None else _order(solution.values, columns)
    if order is not None and order.may_be(season) and cost(season, order) < naive:
        found, comes_to = (Found.BEST if solution.done else Found.STOPPED), cost(season, order)
    else:
        near = naive - bound <= max(within * naive, 1e-4)
        order, found, comes_to = by_hand, (Found.BEST if near else Found.BY_HAND), naive
    return Plan(order, found, _money(comes_to), _money(min(bound, comes_to)))


def _money(amount: float) -> Decimal:
    return Decimal(repr(float(amount))).quantize(PENNY)


def _order(values: list[float], columns: dict[int, list[int]]) -> Order:
    packs = {offer: round(sum(values[c] for c in of)) for offer, of in sorted(columns.items())}
    return Order({offer: count for offer, count in packs.items() if count})


def _programme(season: Season, below: float) -> tuple[Programme, dict[int, list[int]]]:
    """The programme, whose lines are `below` the charges by that share at most, and which of its
    columns are packs of each offer."""
    made = Programme()
    ordered = {each.id: _switch(made, each) for each in season.suppliers}
    goods: dict[int, Row] = {each.id: {} for each in season.suppliers}
    columns: dict[int, list[int]] = {}
    for want in season.wants:
        most = {o.id: most_packs(o, want, season) for o in season.offered.get(want.item, ())}
        units: Row = {}
        for offer in (season.by_id[pk] for pk, packs in most.items() if packs):
            prices = _packs(made, offer, most[offer.id], ordered[offer.supplier])
            columns[offer.id] = list(prices)
            units |= dict.fromkeys(prices, float(offer.units))
            goods[offer.supplier] |= prices
        if units:
            whole = sum(packs * season.by_id[pk].units for pk, packs in most.items())
            offers = season.offered[want.item]
            along = curve(want, offers, whole) - least_charge(want, offers)
            _pieces(made, units, along, charge(want, offers).wasted, below)
    money: Row = {}
    for supplier in season.suppliers:
        money |= goods[supplier.id]
        money |= _delivery(made, supplier, goods[supplier.id], ordered[supplier.id])
    if season.budget is not None and money:
        made.at_most(money, float(season.budget))
    return made, columns


def _switch(made: Programme, supplier: Supplier) -> int | None:
    """Whether anything is ordered from a supplier, where that makes a difference."""
    if supplier.delivery or supplier.least_order:
        return made.column(float(supplier.delivery), 1)
    return None


def _packs(made: Programme, offer: Offer, most: int, ordered: int | None) -> Row:
    """A column of packs for each price of an offer, with what one costs; one price at most is
    paid."""
    ends = [*(price.packs - 1 for price in offer.prices[1:]), most]
    costs: Row = {}
    choices: Row = {}
    limits: Row = {}  # of the packs at a price from one pack on, which needs no switch of its own
    for price, end in zip(offer.prices, ends, strict=True):
        packs = made.column(float(price.each), end)
        costs[packs] = float(price.each)
        if price.packs > 1:
            chosen = made.column(0.0, 1)
            choices[chosen] = 1.0
            made.at_least({packs: 1.0, chosen: -price.packs}, 0.0)
            made.at_most({packs: 1.0, chosen: -end}, 0.0)
        else:
            limits[packs] = 1 / end
    if ordered is not None:
        made.at_most(limits | choices | {ordered: -1.0}, 0.0)
    elif len(limits) + len(choices) > 1:
        made.at_most(limits | choices, 1.0)
    return costs


def _pieces(made: Programme, units: Row, along: Amounts, price: float, below: float) -> None:
    """What an item comes to besides its price, as pieces of straight lines over its units, of which
    one costs `price` at least."""
    pack = math.gcd(*map(int, units.values()))  # nothing lies between multiples of it
    at = along[::pack]
    pieces = {
        made.column(slope / pack, (last - first) * pack, whole=False): -1.0
        for slope, first, last in lines_below(at, price * pack, below)
    }
    made.equal(units | pieces, 0.0)
    made.always += float(along[0])


def lines_below(along: Amounts, price: float, share: float) -> list[tuple[float, float, float]]:
    """The slopes of lines of which the highest is a convex row of amounts, or below it by at most a
    `share` (0 or more) of what an item comes to there with `price` for each step; and from where to
    where each is the highest. Lines are added where they are furthest below."""
    slopes = np.diff(along)
    at = np.arange(len(along))
    worth = along + price * at
    chosen = sorted({0, len(slopes) - 1})
    while len(chosen) < MOST_LINES:
        starts = np.array(chosen)
        below = along - (along[starts] + slopes[starts] * (at[:, None] - starts)).max(axis=1)
        over = below - share * worth
        worst = int(over.argmax())
        if over[worst] <= ROUNDING:
            break
        chosen = sorted({*chosen, worst - 1, worst})
    return list(_highest(along, slopes, chosen))


def _highest(
    along: Amounts, slopes: Amounts, chosen: list[int]
) -> Iterator[tuple[float, float, float]]:
    first = 0.0
    for line, after in pairwise([*chosen, len(slopes)]):
        last = float(after)
        if after < len(slopes) and slopes[after] - slopes[line] > ROUNDING:
            at_after = along[line] + slopes[line] * (after - line)
            last -= (along[after] - at_after) / (slopes[after] - slopes[line])
            last = min(max(last, first), float(after))
        if last > first:
            yield float(slopes[line]), first, last
        first = last


def _delivery(made: Programme, supplier: Supplier, goods: Row, ordered: int | None) -> Row:
    """What its delivery costs, by column."""
    if ordered is None:
        return {}
    if supplier.least_order:
        made.at_least(goods | {ordered: -float(supplier.least_order)}, 0.0)
    fee = float(supplier.delivery)
    if supplier.free_from is None or not fee:
        return {ordered: fee}
    free = made.column(-fee, 1)
    made.at_most({free: 1.0, ordered: -1.0}, 0.0)
    made.at_least(goods | {free: -float(supplier.free_from)}, 0.0)
    return {ordered: fee, free: -fee}
