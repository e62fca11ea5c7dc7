"""A kit's first filling: built from the shelf, or stripped from a filled kit that was bought.

Either way nothing is put in that may never be (see `guard`), the whole is one entry, and the
answer has what the kit's list still needs.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from gearroom.core.rules.grouping import grouped, summed
from kits.models import (
    Disposal,
    Entry,
    EntryKind,
    Item,
    Kit,
    Lot,
    Place,
    PlaceKind,
    Receipt,
)
from kits.models.details import StripDetail
from kits.rules.buying.bought_kit import Fate
from kits.rules.restocking import picking
from kits.services.ledger import (
    Book,
    Leg,
    LooseLevel,
    admission,
    kit_book,
    kit_state,
    outer,
    readiness,
    refuse_loose,
    write_levels,
)
from kits.services.lookup.holders import kit_is_out, open_checkout
from kits.services.restocking import sorting
from kits.services.restocking.emptying import Destination, place_out_of
from kits.services.restocking.sorting import PutIn
from kits.services.stock import receiving
from kits.services.stock.order_levels import stock_levels
from kits.services.text.amounts import units as whole
from kits.services.text.buying_texts import reason_of

MOST_MINUTES = 1440


@dataclass(frozen=True)
class Shortage:
    """What a kit's list still needs: units of an item to its *carry*, whether it is below its
    *minimum* without them, how many of them the shelves of its room can give, and what they
    all cost last time, where that is known."""

    item: Item
    units: int
    below_minimum: bool
    on_shelves: int = 0
    cost: Decimal | None = None


@dataclass(frozen=True)
class BuildResult:
    """The entry, what went in, and what is not in stock."""

    entry: Entry
    put_in: Sequence[PutIn]
    wanted: Sequence[Shortage]


def build(
    act: Act,
    kit: Kit,
    *,
    lines: Sequence[PutIn] | None = None,
    levels: Sequence[LooseLevel] | None = None,
    through: date | None = None,
) -> BuildResult:
    """Fill a kit's sections from the shelves of the room it is in.

    Without `lines` as the restock list has it, good through `through` or its next trip. `levels`
    None means that loose items were topped up. Raises Invalid, Refused: `kit-is-out`, the
    codes of `guard` (each fault named, nothing moved), `not-enough`.
    """
    with _opened(act, kit, "build") as (book, kit):
        put_in = _as_listed(kit, through) if lines is None else list(lines)
        if not put_in and not levels:
            raise Invalid(
                _(
                    "There is nothing to put in: nothing that is needed is on the shelves, or "
                    "no items were entered. Receive stock first."
                ),
                field="lines",
            )
        for line in put_in:
            whole(line.units, field="lines")
            admission.shelf_here(kit, line.shelf, "lines")
            _check_section(kit, line.section, "lines")
            refuse_loose(line.lot.item, "lines")
        admission.put_in_guard(kit, [(line.lot, line.shelf) for line in put_in])
        entry = book.post(
            EntryKind.BUILD,
            [Leg(p.lot, p.shelf, p.section, p.units) for p in put_in],
            kit=kit,
            detail={"looked_inside": True, "ends_sorting": True},
        )
        _write_inside(book, entry, kit, sorting.filled_up(kit) if levels is None else levels)
        kit_state.sorted_now(kit)
    return BuildResult(entry, put_in, shortages(kit, currency=""))


@contextmanager
def _opened(act: Act, kit: Kit, use_case: str) -> Iterator[tuple[Book, Kit]]:
    with kit_book(act, kit, here=use_case) as (book, kit):
        if held := open_checkout(kit):
            raise kit_is_out(held)
        sorting.refuse_if_kept_as_it_came(kit)
        yield book, kit


def _as_listed(kit: Kit, through: date | None) -> list[PutIn]:
    plan = sorting.restock_list(kit, through=through)
    return [plan.pick(row) for row in plan.list.put_in]


def _check_section(kit: Kit, section: Place, field: str) -> None:
    if section.kit_id != kit.pk or section.closed_on is not None:
        raise Invalid(
            _("%(section)s is not currently a section of %(kit)s.")
            % {"section": section.name, "kit": kit.name},
            field=field,
        )


def _write_inside(book: Book, entry: Entry, kit: Kit, levels: Sequence[LooseLevel]) -> None:
    book.break_seals(entry, list(kit.sections.all()))
    write_levels(entry, levels)


# ------------------------------------------------------------------------------------- stripping
@dataclass(frozen=True)
class BoughtItem:
    """Units of one batch in a bought kit, what becomes of them and why.

    `section` is where it is kept (the first one unless given), `shelf` where it is put; `disposal`
    how it is disposed of, its own way unless given. `price` is what these alone cost, where known.
    """

    item: Item
    units: int
    fate: Fate
    reason: str = ""
    number: str = ""
    expiry: date | None = None
    serial: str = ""
    section: Place | None = None
    shelf: Place | None = None
    disposal: Disposal | None = None
    price: Decimal | None = None


@dataclass(frozen=True)
class StripResult:
    """The entry; where each item went; what the list still wants; and the cost until now, with
    that of the rest at the last price paid. `unpriced` are wanted items of no known price."""

    entry: Entry
    went: Sequence[sorting.Placed]
    wanted: Sequence[Shortage]
    bought_for: Decimal | None
    cost_with_rest: Decimal | None
    currency: str
    unpriced: Sequence[Item]


def strip(
    act: Act,
    kit: Kit,
    things: Sequence[BoughtItem],
    *,
    supplier: str = "",
    price: Decimal | None = None,
    currency: str = "",
    levels: Sequence[LooseLevel] = (),
    minutes: int | None = None,
    filled: int | None = None,
) -> StripResult:
    """Take a bought, filled kit apart, item by item, into a kit of ours.

    `price` is what the bought kit cost as a whole, `minutes` how long it took, `filled` the id of
    the filled kit that was bought, where it was on record before. A reason that is worded as one of
    ours is kept as its code. What is out of date or recalled may be thrown
    out or set aside for training, and is refused where it would be kept. Raises Invalid, Refused
    (`kit-is-out`, the codes of `guard`, `wrong-bin`).
    """
    with _opened(act, kit, "strip") as (book, kit):
        if not things and not levels:
            raise Invalid(_("Enter at least one item that was in the kit."), field="things")
        if minutes is not None and not 0 < minutes <= MOST_MINUTES:
            raise Invalid(
                _("Enter how many minutes it took, from 1 to %(most)d.") % {"most": MOST_MINUTES},
                field="minutes",
            )
        priced = price is not None or any(thing.price is not None for thing in things)
        if priced or currency:
            receiving.check_price(Decimal(0) if price is None and priced else price, currency)
        supply = outer(PlaceKind.SUPPLIER)
        pairs = [(thing, _batch_of(kit, thing)) for thing in things]
        went = summed(((lot, _goes_to(kit, thing, lot)), thing.units) for thing, lot in pairs)
        prices = grouped((lot.pk, thing.price) for thing, lot in pairs if thing.price is not None)
        for alone in (x.price for x in things if x.price is not None):
            receiving.check_price(alone, currency)
        costs = {lot: sum(each, Decimal(0)) for lot, each in prices.items()}
        admission.put_in_guard(kit, [(lot, supply) for x, lot in pairs if x.fate == Fate.KEEP])
        rows = [sorting.Placed(lot, place, units) for (lot, place), units in went.items()]
        detail: StripDetail = {
            "looked_inside": True,
            "supplier": supplier,
            "price": str(price) if price is not None else None,
            "currency": currency,
            "things": [
                {
                    "item": t.item.pk,
                    "units": t.units,
                    "fate": str(t.fate),
                    "reason": reason_of(t.reason),
                }
                for t in things
            ],
        }
        if minutes is not None:
            detail["minutes"] = minutes
        if filled is not None:
            detail["filled"] = filled
        entry = book.post(
            EntryKind.STRIP,
            [Leg(lot, supply, place, n) for lot, place, n in rows],
            kit=kit,
            detail=detail,
        )
        _receipts(entry, rows, costs, supplier, currency)
        _write_inside(book, entry, kit, levels)
        kit_state.rewrite_looks(kit)
        rest = shortages(kit, currency=currency)
    paid = list(costs.values()) if price is None else [price]
    spent = sum(paid, Decimal(0)) if paid else None
    rest_cost = sum((row.cost for row in rest if row.cost is not None), Decimal(0))
    return StripResult(
        entry=entry,
        went=rows,
        wanted=rest,
        bought_for=spent,
        cost_with_rest=None if spent is None else spent + rest_cost,
        currency=currency,
        unpriced=[row.item for row in rest if row.cost is None],
    )


def _batch_of(kit: Kit, thing: BoughtItem) -> Lot:
    return receiving.batch_of_pack(
        thing.item,
        thing.number,
        thing.expiry,
        thing.serial,
        units=whole(thing.units, field="things"),
        today=readiness.today_of(kit),
    )


def _goes_to(kit: Kit, thing: BoughtItem, lot: Lot) -> Place:
    if thing.fate is not Fate.KEEP:
        to = Destination(thing.fate)
        return place_out_of(kit, lot, to, thing.shelf, thing.disposal, "things")
    refuse_loose(thing.item, "things")
    section = thing.section or kit.sections.open().first()
    if section is None:
        raise Invalid(
            _("%(kit)s has no section to put the item in.") % {"kit": kit.name}, field="things"
        )
    _check_section(kit, section, "things")
    return section


def _receipts(
    entry: Entry,
    rows: Sequence[tuple[Lot, Place, int]],
    costs: dict[int, Decimal],
    supplier: str,
    currency: str,
) -> None:
    """One receipt for each batch; its price only where it was given for it alone."""
    totals = summed((lot.pk, units) for lot, _place, units in rows)
    Receipt.objects.bulk_create(
        Receipt(
            lot_id=lot,
            entry=entry,
            units=units,
            supplier=supplier,
            price=costs.get(lot),
            currency=currency if lot in costs else "",
        )
        for lot, units in totals.items()
    )


# ------------------------------------------------------------------------------ what is wanted yet
def shortages(kit: Kit, *, currency: str) -> list[Shortage]:
    """What a kit's list still wants through today, with what the shelves of the room that it is in
    can give; priced in `currency` by the last receipts."""
    state = readiness.states([kit.pk])[kit.pk]
    today = readiness.today_of(kit)
    shelves = stock_levels.on_shelves([kit.room_id])[0].get(kit.room_id, [])
    missing = picking.restock(state, (), through=today, today=today).missing
    after = picking.restock(state, shelves, through=today, today=today)
    to_buy = summed((row.thing.id, row.count) for row in after.missing)
    items = Item.objects.in_bulk([row.thing.id for row in missing])
    prices = _last_prices(items, currency) if currency else {}
    rows = []
    for row in missing:
        thing = row.thing.id
        buy = min(row.count, to_buy[thing])  # several lines may want the same item
        to_buy[thing] -= buy
        cost = (prices[thing] * row.count).quantize(Decimal("0.01")) if thing in prices else None
        on_shelves = row.count - buy
        rows.append(Shortage(items[thing], row.count, row.below_minimum, on_shelves, cost))
    return rows


def _last_prices(items: dict[int, Item], currency: str) -> dict[int, Decimal]:
    """The price of one unit of each item when it was last bought in a currency."""
    rows = (
        Receipt.objects.filter(
            lot__item__in=items,
            currency=currency,
            price__isnull=False,
            entry__reversed_by__isnull=True,
        )
        .order_by("id")
        .values_list("lot__item", "price", "units")
    )
    return {item: price / units for item, price, units in rows if price is not None}
