"""Stock that arrives from a supplier.

That something arrived is a fact and is written down whatever it is; what must not be used goes to
the room's quarantine instead of the shelf, and the entry says why.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused, one
from gearroom.core.models import Room
from kits.models import (
    Entry,
    EntryKind,
    Holding,
    Item,
    Kit,
    Lot,
    Order,
    PackCode,
    Place,
    PlaceKind,
    Receipt,
)
from kits.rules.ledger import WINDOW_YEARS, Kind, ReasonCode, date_known, must_be_dated
from kits.services.ledger import Book, Leg, admission, lots, outer
from kits.services.orders import arrivals
from kits.services.orders.arrivals import Met
from kits.services.text import irregular_texts
from kits.services.text.amounts import units as whole
from kits.services.text.wording import day

LONGEST_WAIT_DAYS = 730


@dataclass(frozen=True)
class Remark:
    """Something worth saying about what was done: a stable code and a sentence."""

    code: str
    text: str


@dataclass(frozen=True)
class Arrival:
    """What arrived, and where it was put: on its shelf, or in quarantine."""

    entry: Entry
    lot: Lot
    place: Place
    units: int
    receipt: Receipt | None = None
    remarks: tuple[Remark, ...] = ()


def receive(
    act: Act,
    *,
    shelf: Place,
    item: Item | None = None,
    units: int | None = None,
    packs: int | None = None,
    pack_code: str = "",
    pack_holds: int | None = None,
    number: str = "",
    expiry: date | None = None,
    serial: str = "",
    supplier: str = "",
    price: Decimal | None = None,
    currency: str = "",
    ordered_on: date | None = None,
    order: Order | None = None,
    of_order: bool = True,
) -> Arrival:
    """Take units of a batch from a supplier onto a shelf (or into a training box).

    `units` are base units; or `packs` of what `pack_code`, a maker's GTIN, names; the code may
    also stand in for the item. `pack_holds` is how many units these packs say that they hold, where
    that is not what the code's packs usually do. `price` is for all of it; `ordered_on` the day it
    was ordered, where known. It counts for the oldest open order of the item in the room, whose
    supplier, day and price it has where none are given; or for the `order` given; or for none where
    it is not `of_order`. Out of date, recalled or kept-back units go to quarantine. Raises
    Invalid, NotFound (`pack_code`), Refused (`instrument-held`, `serial-known-otherwise`).
    """
    if shelf.kind not in (PlaceKind.SHELF, PlaceKind.TRAINING) or shelf.room is None:
        raise Invalid(
            _("Receive the delivery onto a shelf. Kits are filled from the shelves."), field="shelf"
        )
    with Book(act) as book:
        act.actor.require("receive", shelf.room_id)
        pack = _pack(pack_code) if pack_code else None
        arrived = _item(item, pack)
        holds = pack_holds or (pack.units_per_pack if pack else None)
        count = _count(units, packs, holds)
        check_price(price, currency)
        today = today_in(shelf.room)
        _check_ordered(ordered_on, today)
        met: list[Met] = []
        if of_order:
            met = arrivals.meet(shelf.room, arrived, count, order=order, supplier=supplier)
        if met and price is None and (paid := arrivals.price(met)):
            price, currency = paid
        lot = batch_of_pack(arrived, number, expiry, serial, units=count, today=today)
        place, irregular = admission.landing(lot, shelf)
        entry = book.post(
            EntryKind.RECEIVE,
            [Leg(lot, outer(PlaceKind.SUPPLIER), place, count)],
            lot=lot,
            room=shelf.room,
            irregular=irregular,
        )
        receipt = Receipt.objects.create(
            lot=lot, entry=entry, units=count, price=price, currency=currency,
            supplier=supplier or (met[0].order.supplier.name if met else ""),
            ordered_on=ordered_on or arrivals.ordered_on(met),
        )  # fmt: skip
        in_packs = holds if packs is not None else None
        arrivals.write(receipt, met, in_packs)
        noted = (*remarks(lot, irregular), *_of_orders(met, in_packs))
        return Arrival(entry, lot, place, count, receipt, noted)


def _of_orders(met: Sequence[Met], pack_units: int | None) -> Iterator[Remark]:
    """What is worth saying of orders that units which arrived were of."""
    for each in met:
        facts = {
            "supplier": each.order.supplier.name,
            "day": day(each.order.ordered_on) if each.order.ordered_on else "",
            "arrived": each.now.arrived,
            "ordered": each.now.ordered,
            "open": each.now.open,
            "extra": each.now.extra,
            "packs": pack_units,
            "pack": each.line.pack_units,
        }
        text = _(
            "Ordered from %(supplier)s on %(day)s: %(arrived)d of %(ordered)d have arrived; "
            "still to come: %(open)d."
        )
        yield Remark("of-order", text % facts)
        if each.now.extra:
            text = _("That is %(extra)d more than ordered. Check the delivery note.")
            yield Remark("more-than-ordered", text % facts)
        if pack_units not in (None, each.line.pack_units):
            text = _("Packs of %(pack)d were ordered; these are packs of %(packs)d.")
            yield Remark("other-pack", text % facts)


def _check_ordered(ordered_on: date | None, today: date) -> None:
    if ordered_on is not None and not 0 <= (today - ordered_on).days <= LONGEST_WAIT_DAYS:
        raise Invalid(
            _("Enter the day of the order: today or an earlier day, at most two years ago."),
            field="ordered_on",
        )


def _pack(code: str) -> PackCode:
    digits = code.strip()
    gtin = digits.zfill(14) if digits.isascii() and digits.isdigit() else ""
    return one(PackCode.objects.select_related("item").filter(gtin=gtin), "pack code", code)


def _item(item: Item | None, pack: PackCode | None) -> Item:
    known = item or (pack.item if pack else None)
    if known is None:
        raise Invalid(_("Enter the item that arrived, or its pack code."), field="item")
    if pack is not None and pack.item_id != known.pk:
        raise Invalid(
            _("The pack code %(gtin)s belongs to %(item)s, not to %(item_2)s.")
            % {"gtin": pack.gtin, "item": pack.item.name, "item_2": known.name},
            field="pack_code",
        )
    return known


def _count(units: int | None, packs: int | None, holds: int | None) -> int:
    if (units is None) == (packs is None):
        raise Invalid(
            _("Enter either the number of units or the number of packs that arrived."),
            field="units",
        )
    if packs is None:
        return whole(units)
    if holds is None:
        raise Invalid(
            _("The pack code determines how many units are in a pack: enter the pack code."),
            field="packs",
        )
    each = whole(holds, field="pack_holds")
    return whole(whole(packs, field="packs") * each, field="packs")


def check_price(price: Decimal | None, currency: str) -> None:
    """Raise Invalid unless both are there or neither: an amount of 0 or more with at most two
    decimals, and three capitals of ISO 4217."""
    if price is None and not currency:
        return
    if price is None or not (len(currency) == 3 and currency.isascii() and currency.isupper()):
        raise Invalid(
            _("Enter a price and its currency (three letters such as GBP), or neither."),
            field="price" if price is None else "currency",
        )
    if not price.is_finite() or not 0 <= price < 10**10 or price != round(price, 2):
        raise Invalid(
            _("A price must be 0 or more, with at most two decimal places."), field="price"
        )


def check_expiry(expiry: date | None, today: date) -> None:
    """Raise Invalid for a date that is a misprint or a misreading."""
    if expiry is not None and abs(expiry.year - today.year) > WINDOW_YEARS:
        raise Invalid(
            _("The year %(year)s is too far off. Check the date on the pack.")
            % {"year": expiry.year},
            field="expiry",
        )


def batch_of_pack(
    item: Item, number: str, expiry: date | None, serial: str, *, units: int, today: date
) -> Lot:
    """The batch that units in a pack are of, by what is printed on it. Raises Invalid for a date
    that cannot be, and Invalid or Refused where an instrument would be there twice."""
    check_expiry(expiry, today)
    lot = lots.known(item=item, number=number, expiry=expiry, serial=serial)
    if not lot.serial:
        return lot
    if units != 1:
        raise Invalid(
            _(
                "An instrument counts as one unit. Enter each instrument separately, "
                "with its serial number."
            ),
            field="units",
        )
    held = Holding.objects.select_related("place").on_hand().filter(lot=lot).first()
    if held is not None:
        raise Refused(
            "instrument-held",
            _(
                "%(item)s %(serial)s is on record as being in %(place)s. Move it from there, "
                "or check the serial number again."
            )
            % {"item": lot.item.name, "serial": lot.serial, "place": held.place.name},
            lot=lot.pk,
            place=held.place_id,
        )
    return lot


def shelf_for(kit: Kit, shelf: Place | None, item: Item, field: str) -> Place:
    """The shelf that an item goes onto out of a kit. Raises Invalid unless it is of the room that
    the kit is in."""
    if shelf is None or shelf.kind != PlaceKind.SHELF or shelf.room_id != kit.room_id:
        raise Invalid(
            _("Choose a shelf in %(room)s to put %(item)s on.")
            % {"room": kit.room.name, "item": item.name},
            field=field,
        )
    return shelf


def today_in(room: Room) -> date:
    """Today where a room is."""
    return clock.today(room.time_zone)


_REMARKS: dict[str, str | Promise] = {
    ReasonCode.RECALLED: _lazy(
        "This batch has been recalled by its maker: it stays in quarantine until it is "
        "returned or disposed of."
    ),
    ReasonCode.WITHHELD: _lazy(
        "This batch is on hold: it stays in quarantine until it is released."
    ),
    ReasonCode.EXPIRED_ON_ARRIVAL: _lazy("This batch is out of date: complain to the supplier."),
    ReasonCode.MORE_ARRIVED: irregular_texts.IRREGULAR[ReasonCode.MORE_ARRIVED],
    "undated": _lazy(
        "The expiry date of this batch is not known, so it cannot go into a kit: read the date "
        "from the pack and correct the batch."
    ),
    "not-checked": _lazy("This item has no check on record: check it before it goes out."),
    "retired": _lazy("This item is no longer bought."),
}


def remarks(lot: Lot, irregular: list[ReasonCode]) -> tuple[Remark, ...]:
    """What is worth saying about units that arrived."""
    batch = admission.batch_of(lot)
    noted = {
        "undated": must_be_dated(batch) and not date_known(batch),
        "not-checked": batch.thing.kind is Kind.INSTRUMENT and batch.check_passed is None,
        "retired": lot.item.retired_on is not None,
    }
    codes = [*irregular, *(code for code, is_so in noted.items() if is_so)]
    return tuple(Remark(code, str(_REMARKS[code])) for code in codes)
