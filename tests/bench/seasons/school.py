"""A school through its seasons: what is used of what, what its kits and shelves hold, what is
delivered. It knows nothing of how anything is planned, and imports nothing from the program.

Kits go out with so many units of each item. Somebody hurts themselves by chance, more in summer,
and not alike from year to year; a use takes a few units out of one kit. In the evening the kit is
filled up from the shelf, what expires first first. What is out of date is thrown away. On Mondays
somebody may order; a delivery comes some days later, and what comes keeps for so long.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random

FIRST_DAY = date(2030, 4, 1)
"""A Monday."""
KITS = 12
PUT_IN_FOR_DAYS = 28
"""What goes into a kit is good for so long at least."""
PRIORITIES = ("routine", "important", "must-have")


@dataclass(frozen=True)
class Ware:
    """An item: `carry` units in each kit; `a_year` uses of it by the whole school, each of one of
    `sizes` units; how many days it keeps when it comes (None: for ever)."""

    number: int
    priority: str
    carry: int
    a_year: float
    sizes: tuple[int, ...]
    keeps: int | None


@dataclass(frozen=True)
class Pack:
    """Units of a ware that a shop sells together, in pence."""

    number: int
    ware: int
    shop: int
    units: int
    pence: int


@dataclass(frozen=True)
class Shop:
    """What delivery costs, from which value of goods on it is free (None: never), in pence, and how
    many days it usually takes."""

    number: int
    delivery: int
    free_from: int | None
    days: int


@dataclass(frozen=True)
class Invented:
    """A school by chance: the same for the same seed."""

    seed: int
    wares: tuple[Ware, ...]
    packs: tuple[Pack, ...]
    shops: tuple[Shop, ...]


def invent(seed: int, wares: int = 24) -> Invented:
    """Wares that are used from hardly ever to daily, at three shops."""
    chance = Random(f"school {seed}")
    shops = tuple(
        Shop(n, chance.choice((0, 395, 595)), chance.choice((3000, 5000, None)), days)
        for n, days in enumerate((4, 9, 18))
    )
    made: list[Ware] = []
    packs: list[Pack] = []
    for number in range(wares):
        priority = chance.choices(PRIORITIES, (6, 3, 1))[0]
        a_year = min(400.0, math.exp(chance.gauss(2.3, 1.4)))
        sizes = chance.choice(((1,), (1, 1, 1, 2), (1, 2, 3), (4,), (16,)))
        carry = max(1, max(sizes), round(2 * a_year * sum(sizes) / len(sizes) / 100))
        keeps = chance.choice((None, 400, 700, 1000, 1500))
        made.append(Ware(number, priority, carry, a_year, sizes, keeps))
        pence = math.exp(chance.gauss(4.6, 1.0)) / max(sizes) + 3
        for shop in chance.sample(range(3), chance.choice((1, 2, 2, 3))):
            units = chance.choice((1, 5, 10, 20)) * (max(sizes) if max(sizes) > 3 else 1)
            cheaper = 1 - 0.1 * math.log10(units)
            price = max(5, round(units * pence * cheaper * chance.uniform(0.85, 1.15)))
            packs.append(Pack(len(packs), number, shop, units, price))
    return Invented(seed, tuple(made), tuple(packs), shops)


@dataclass(frozen=True)
class Need:
    """Units of a ware that somebody reaches into a kit for."""

    day: int
    kit: int
    ware: int
    units: int


def needs(school: Invented, days: int, shares: Sequence[float] | None = None) -> list[list[Need]]:
    """What is needed on each day, whatever is there; of each kit alike, or by its share of the
    uses."""
    chance = Random(f"needs {school.seed}")
    found: list[list[Need]] = [[] for _ in range(days)]
    year = [1.0] * len(school.wares)
    for week in range(math.ceil(days / 7)):
        if week % 52 == 0:
            year = [math.exp(chance.gauss(-0.06, 0.35)) for _ in school.wares]
        busy = _summer(week) * chance.gammavariate(2, 0.5)  # bad weeks are bad in all
        for ware in school.wares:
            for _ in range(_poisson(chance, ware.a_year / 52 * year[ware.number] * busy)):
                day = 7 * week + chance.randrange(7)
                if day < days:
                    units = chance.choice(ware.sizes)
                    kit = (
                        chance.randrange(KITS)
                        if shares is None
                        else chance.choices(range(KITS), shares)[0]
                    )
                    found[day].append(Need(day, kit, ware.number, units))
    return found


def _summer(week: int) -> float:
    """From April to October five times as much as in winter; 1 on average."""
    return 1.51 if week % 52 < 30 else 0.3


def _poisson(chance: Random, mean: float) -> int:
    count, left = 0, chance.expovariate(1.0)
    while left < mean:
        count, left = count + 1, left + chance.expovariate(1.0)
    return count


FOR_EVER = 10**6
"""The day on which something without a date expires."""
Held = Counter[int]
"""Units by the last day they are good on."""


@dataclass
class Delivery:
    """What is on its way: units of a ware, what one costs in pence."""

    ordered: int
    comes: int
    ware: int
    units: int
    pence_each: float


@dataclass
class Tally:
    """What a time came to: by priority, units needed and not in the kit, and units that a kit
    lacked in the evening, day by day; units and pence thrown away; pence spent; orders sent."""

    unmet: Counter[str] = field(default_factory=Counter)
    lacked: Counter[str] = field(default_factory=Counter)
    wasted: int = 0
    wasted_pence: float = 0.0
    spent_pence: int = 0
    orders: int = 0


@dataclass
class Stock:
    """The school's kits, shelves and what is on its way on a day, and what is on record."""

    school: Invented
    day: int = 0
    kits: dict[tuple[int, int], Held] = field(default_factory=lambda: defaultdict(Counter))
    shelf: dict[int, Held] = field(default_factory=lambda: defaultdict(Counter))
    coming: list[Delivery] = field(default_factory=list)
    arrived: list[tuple[Delivery, int | None]] = field(default_factory=list)
    used: list[tuple[int, int, int]] = field(default_factory=list)
    worth: Counter[int] = field(default_factory=Counter)
    opened_on: dict[int, int] = field(default_factory=dict)
    tally: Tally = field(default_factory=Tally)

    @property
    def today(self) -> date:
        """By the calendar."""
        return FIRST_DAY + timedelta(days=self.day)

    def short(self, ware: int, good_on: int) -> int:
        """Units that the kits lack of a ware, of what is good on a day."""
        carry = self.school.wares[ware].carry
        inside = (self.kits[kit, ware] for kit in range(KITS))
        return sum(max(0, carry - _good(held, good_on)) for held in inside)

    def there(self, ware: int, good_on: int) -> int:
        """Units on the shelf that are good on a day."""
        return _good(self.shelf[ware], good_on)

    def on_order(self, ware: int) -> int:
        """Units on their way."""
        return sum(each.units for each in self.coming if each.ware == ware)


def _good(held: Mapping[int, int], on: int) -> int:
    return sum(units for last, units in held.items() if last >= on)


Buyer = Callable[[Stock], Mapping[int, int]]
"""Who looks at the stock on a Monday and says how many of which pack to order, by its number."""


def play(
    stock: Stock,
    wanted: Sequence[Sequence[Need]],
    buyer: Buyer,
    arrange: Callable[[Stock], None] | None = None,
) -> Tally:
    """Go through the days of `wanted` from the stock's day on; what they came to. `arrange` may lay
    things elsewhere in the evening."""
    stock.tally = Tally()
    for today in wanted:
        _arrive(stock)
        _throw_away(stock)
        for need in today:
            _use(stock, need)
        _fill_up(stock)
        if arrange is not None:
            arrange(stock)
        for ware in stock.school.wares:
            stock.tally.lacked[ware.priority] += stock.short(ware.number, stock.day)
        if stock.today.weekday() == 0:
            _order(stock, buyer(stock))
        stock.day += 1
    return stock.tally


def opened(school: Invented) -> Stock:
    """A school on its first day: full kits, and a pack or two of each ware on the shelf."""
    stock, chance = Stock(school), Random(f"opened {school.seed}")
    for ware in school.wares:
        pack = next(pack for pack in school.packs if pack.ware == ware.number)
        stock.worth[ware.number] = round(pack.pence / pack.units)
        for kit in range(KITS):
            left = 1.0 if ware.keeps is None else chance.uniform(0.3, 1.0)
            stock.kits[kit, ware.number][_last(ware, 0, left)] += ware.carry
        stock.shelf[ware.number][_last(ware, 0, 0.9)] += pack.units
    return stock


def _last(ware: Ware, day: int, share: float) -> int:
    return FOR_EVER if ware.keeps is None else day + round(share * ware.keeps)


def _arrive(stock: Stock) -> None:
    for each in [each for each in stock.coming if each.comes <= stock.day]:
        ware = stock.school.wares[each.ware]
        share = Random(f"keeps {stock.school.seed} {each.ware} {stock.day}").uniform(0.7, 1.1)
        last = _last(ware, stock.day, share)
        stock.shelf[each.ware][last] += each.units
        stock.worth[each.ware] = round(each.pence_each)
        stock.arrived.append((each, None if ware.keeps is None else last))
        stock.coming.remove(each)


def _throw_away(stock: Stock) -> None:
    for ware in stock.school.wares:
        number = ware.number
        for held in (stock.shelf[number], *(stock.kits[kit, number] for kit in range(KITS))):
            for last in [last for last in held if last < stock.day]:
                units = held.pop(last)
                stock.tally.wasted += units
                stock.tally.wasted_pence += units * stock.worth[number]


def _fill_up(stock: Stock) -> None:
    for ware in stock.school.wares:
        shelf = stock.shelf[ware.number]
        good = sorted(last for last in shelf if last >= stock.day + PUT_IN_FOR_DAYS)
        for kit in range(KITS) if good else ():
            held = stock.kits[kit, ware.number]
            if lacks := ware.carry - sum(held.values()):
                _put_in(shelf, held, good, lacks)


def _put_in(shelf: Held, held: Held, good: Sequence[int], lacks: int) -> None:
    for last in good:
        if units := min(lacks, shelf[last]):
            _move(shelf, last, units)
            held[last] += units
            lacks -= units


def _use(stock: Stock, need: Need) -> None:
    held, left = stock.kits[need.kit, need.ware], need.units
    stock.opened_on[need.kit] = stock.day
    for last in sorted(held):
        units = min(left, held[last])
        _move(held, last, units)
        left -= units
    if need.units > left:
        stock.used.append((stock.day, need.ware, need.units - left))
    stock.tally.unmet[stock.school.wares[need.ware].priority] += left


def _move(held: Held, last: int, units: int) -> None:
    held[last] -= units
    if not held[last]:
        del held[last]


def _order(stock: Stock, packs: Mapping[int, int]) -> None:
    goods: Counter[int] = Counter()
    for number, count in packs.items():
        pack = stock.school.packs[number]
        goods[pack.shop] += count * pack.pence
        seed = f"comes {stock.school.seed} {pack.shop} {stock.day}"
        days = max(1, round(stock.school.shops[pack.shop].days * Random(seed).uniform(0.6, 1.6)))
        stock.coming.append(
            Delivery(
                stock.day, stock.day + days, pack.ware, count * pack.units, pack.pence / pack.units
            )
        )
    for number, pence in goods.items():
        shop = stock.school.shops[number]
        free = shop.free_from is not None and pence >= shop.free_from
        stock.tally.spent_pence += pence + (0 if free else shop.delivery)
        stock.tally.orders += 1
