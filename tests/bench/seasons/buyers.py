"""Who orders by what: by order levels, as the weekly email says, or by the season's plan."""

from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

from kits.rules.buying import receipts, season
from kits.rules.buying.order_levels import Setting, Use, order_level, use_over
from kits.rules.buying.order_plan import plan
from kits.rules.buying.season import Offer, Price, Season, Supplier, Want
from kits.rules.ledger.facts import Criticality
from kits.rules.mail.digest import Low, Missing, to_order
from tests.bench.seasons.school import FIRST_DAY, PUT_IN_FOR_DAYS, Pack, Stock, Ware

CURRENCY = "GBP"
STATED_LEAD_DAYS = 14
LOOKS_BACK_DAYS = 365
"""As `kits.services.stock.order_levels.stock_levels` has it."""
PLANNING_SECONDS = 3.0


def by_hand(stock: Stock) -> dict[int, int]:
    """By a level that somebody set once: a pack of each, whatever is used."""
    return _by_levels(stock, {w.number: _usual_pack(stock, w).units for w in stock.school.wares})


def by_use(stock: Stock) -> dict[int, int]:
    """By the order levels that follow from use over the lead time."""
    learned = receipts.lead_times(_deliveries(stock))
    first, uses = _record(stock)
    levels = {
        ware.number: order_level(
            uses.get(ware.number, ()),
            recorded_from=first,
            today=stock.today,
            setting=Setting(receipts.lead_days(learned.get((ware.number, None)), STATED_LEAD_DAYS)),
        ).units
        for ware in stock.school.wares
    }
    return _by_levels(stock, levels)


def _by_levels(stock: Stock, levels: dict[int, int]) -> dict[int, int]:
    """What the weekly email says is to be ordered, each where it costs least."""
    missing, low = [], []
    for ware in stock.school.wares:
        number, level = ware.number, levels[ware.number]
        coming = stock.there(number, stock.day + PUT_IN_FOR_DAYS) + stock.on_order(number)
        lacks = max(0, stock.short(number, stock.day) - coming)
        if lacks:
            missing.append(Missing(number, "", lacks, "", stock.today))
        if level and coming <= level:
            low.append(Low(number, "", coming, level))
    packs: Counter[int] = Counter()
    for row in to_order(missing, low, {}, stock.today):
        choices = [
            (-(-row.units // pack.units) * pack.pence, pack.number, -(-row.units // pack.units))
            for pack in stock.school.packs
            if pack.ware == row.thing_id
        ]
        _, number, count = min(choices)
        packs[number] += count
    return packs


def _usual_pack(stock: Stock, ware: Ware) -> Pack:
    return next(pack for pack in stock.school.packs if pack.ware == ware.number)


def by_plan(stock: Stock, ahead: int) -> dict[int, int]:
    """By the season's plan, for so many days `ahead` (0: through the season's end): on the first
    Monday of a month, and on any other on which a kit lacks what is neither there nor coming."""
    lacks = any(
        stock.short(w.number, stock.day)
        > stock.there(w.number, stock.day + PUT_IN_FOR_DAYS) + stock.on_order(w.number)
        for w in stock.school.wares
    )
    if stock.today.day > 7 and not lacks:
        return {}
    through = stock.today + timedelta(days=ahead) if ahead else season_end(stock.today)
    return plan(_season(stock, through), seconds=PLANNING_SECONDS).order.packs


def season_end(today: date) -> date:
    """The last day of October or of March, at least four weeks off."""
    near = today + timedelta(days=28)
    ends = (date(near.year, 3, 31), date(near.year, 10, 31), date(near.year + 1, 3, 31))
    return next(end for end in ends if end >= near)


def _season(stock: Stock, through: date) -> Season:
    """As `kits.services.buying.season_order` puts it together from a room's records."""
    last = (through - FIRST_DAY).days
    lives = receipts.shelf_lives(_deliveries(stock))
    first, uses = _record(stock)
    wants = []
    for ware in stock.school.wares:
        record = {"recorded_from": first, "today": stock.today}
        acts = uses.get(ware.number, [])
        life = lives.get((ware.number, None))
        wants.append(
            Want(
                item=ware.number,
                short=stock.short(ware.number, last),
                used=use_over(acts, **record, days=(through - stock.today).days),
                on_hand=stock.there(ware.number, last) + stock.on_order(ware.number),
                kept=None if life is None else use_over(acts, **record, days=life.days),
                matters=Criticality(ware.priority),
            )
        )
    return Season(
        CURRENCY,
        tuple(wants),
        tuple(
            Offer(p.number, p.ware, p.shop, p.units, CURRENCY, (Price(1, _money(p.pence)),))
            for p in stock.school.packs
        ),
        tuple(
            Supplier(
                shop.number,
                _money(shop.delivery),
                None if shop.free_from is None else _money(shop.free_from),
            )
            for shop in stock.school.shops
        ),
    )


def _money(pence: int) -> Decimal:
    return pence * season.PENNY


def _record(stock: Stock) -> tuple[date, dict[int, list[Use]]]:
    """From when on use counts, and what was used of each ware since."""
    first = max(FIRST_DAY, stock.today - timedelta(days=LOOKS_BACK_DAYS))
    uses: dict[int, list[Use]] = {}
    for day, ware, units in stock.used:
        if (on := FIRST_DAY + timedelta(days=day)) >= first:
            uses.setdefault(ware, []).append(Use(on, units))
    return first, uses


def _deliveries(stock: Stock) -> list[receipts.Delivery]:
    return [
        receipts.Delivery(
            item=each.ware,
            supplier="",
            came_on=FIRST_DAY + timedelta(days=each.comes),
            units=each.units,
            expiry=None if last is None else FIRST_DAY + timedelta(days=last),
            ordered_on=FIRST_DAY + timedelta(days=each.ordered),
        )
        for each, last in stock.arrived
    ]
