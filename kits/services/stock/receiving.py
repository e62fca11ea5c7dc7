"""Stock beside the kits: received, moved, sent to another room.

That something arrived is a fact and is written down whatever it is; what must not be used goes to
the room's quarantine instead of the shelf, and the entry says why.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused, one, refuse_first
from gearroom.core.models import Room
from kits.models import (
    Entry,
    EntryKind,
    Holding,
    Item,
    Kit,
    Lot,
    PackCode,
    Place,
    PlaceKind,
    Receipt,
)
from kits.rules.ledger import (
    OUT_OF_DATE,
    WINDOW_YEARS,
    Kind,
    ReasonCode,
    date_known,
    must_be_dated,
    why_not,
)
from kits.services.ledger import Book, Leg, admission, lots, outer, room_place
from kits.services.text import reason_texts
from kits.services.text.amounts import units as whole


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


# ------------------------------------------------------------------------------------- receiving
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
) -> Arrival:
    """Take units of a batch from a supplier onto a shelf (or into a training box).

    `units` are base units; or `packs` of what `pack_code`, a maker's GTIN, names; the code may
    also stand in for the item. `pack_holds` is how many units these packs say that they hold, where
    that is not what the code's packs usually do. `price` is for all of it. Out of date, recalled or
    kept-back units go to quarantine. Raises Invalid, NotFound (`pack_code`), Refused
    (`instrument-held`, `serial-known-otherwise`).
    """
    if shelf.kind not in (PlaceKind.SHELF, PlaceKind.TRAINING) or shelf.room is None:
        raise Invalid(
            _("Receive the delivery onto a shelf. Kits are filled from the shelves."), field="shelf"
        )
    with Book(act) as book:
        act.actor.require("receive", shelf.room_id)
        pack = _pack(pack_code) if pack_code else None
        arrived = _item(item, pack)
        count = _count(units, packs, pack_holds or (pack.units_per_pack if pack else None))
        check_price(price, currency)
        today = today_in(shelf.room)
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
            lot=lot, entry=entry, units=count, supplier=supplier, price=price, currency=currency
        )
        return Arrival(entry, lot, place, count, receipt, remarks(lot, irregular))


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
    ReasonCode.MORE_ARRIVED: reason_texts.IRREGULAR[ReasonCode.MORE_ARRIVED],
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


# ---------------------------------------------------------------------------------------- moving
def move(act: Act, *, lot: Lot, units: int, source: Place, target: Place) -> Entry:
    """Move units within a room: between shelves, to the training box, into or out of quarantine;
    out of a kit's section, or to another section of the same kit.

    Raises Refused: `training-never-back`, `send-instead` (another room), `restock-instead` (into a
    kit), one of the codes of `guard` for what may not leave quarantine, `not-enough`.
    """
    with Book(act) as book:
        kit, room = lock_place(book, source, "move")
        count = whole(units)
        _may_move(lot, source, target, room, kit)
        return book.post(
            EntryKind.MOVE, [Leg(lot, source, target, count)], kit=kit, lot=lot, room=room
        )


def lock_place(book: Book, place: Place, use_case: str) -> tuple[Kit | None, Room]:
    """The kit that a place is a section of, locked (None for other places), and the room that it
    is in now. Raises what `room_of` raises, and NotAllowed without the right to a use case there.
    """
    kit = book.lock(place.kit_id)[0] if place.kit_id else None
    room = room_of(place, kit)
    book.act.actor.require(use_case, room.pk)
    return kit, room


def room_of(place: Place, kit: Kit | None) -> Room:
    """The room that a place is in now. Raises Invalid for what is in none, Refused (`not-here`)."""
    room = kit.room if kit else place.room
    if room is None or place.kind == PlaceKind.TRANSIT:
        raise Invalid(_("Choose the shelf, box or section that the item is in now."), field="place")
    if place.kind == PlaceKind.AWAY:
        raise Refused(
            "not-here",
            _(
                "This item left with a casualty. In the list of items that may be returned, "
                "record that it has been returned."
            ),
        )
    return room


def _may_move(lot: Lot, source: Place, target: Place, room: Room, kit: Kit | None) -> None:
    for_training = source.kind == PlaceKind.TRAINING or (kit is not None and kit.training)
    refuse_first(
        (
            source.pk == target.pk,
            Invalid(_("The item is already there. Choose another place."), field="to"),
        ),
        (
            not target.inner or target.kind in (PlaceKind.TRANSIT, PlaceKind.AWAY),
            Invalid(
                _("Move the item to a shelf, the training box or quarantine, or dispose of it."),
                field="to",
            ),
        ),
        (
            target.kit_id is not None and target.kit_id != source.kit_id,
            Refused(
                "restock-instead",
                _("Items can only be put into a kit by restocking it or making it up."),
            ),
        ),
        (
            target.kit_id is None and target.room_id != room.pk,
            Refused(
                "send-instead",
                _(
                    "%(target)s is in another room. Send the item to that room, then record its "
                    "arrival there."
                )
                % {"target": target.name},
            ),
        ),
        (
            target.closed_on is not None,
            Refused(
                "place-closed",
                _("%(target)s is no longer in use. Choose another place.")
                % {"target": target.name},
            ),
        ),
        (
            for_training
            and (
                target.kind == PlaceKind.SHELF or target.kind == source.kind == PlaceKind.TRAINING
            ),
            training_never_back(),
        ),
    )
    if target.kind in (PlaceKind.SHELF, PlaceKind.TRAINING):
        _usable_there(lot, source, target, room)


def training_never_back() -> Refused:
    """The refusal to put what was set aside for training where it could be used."""
    return Refused(
        "training-never-back",
        _("Training stock never goes back into use. Dispose of it when it is worn out."),
    )


def _usable_there(lot: Lot, source: Place, target: Place, room: Room) -> None:
    """Nothing recalled, kept back or out of date is put where it could be picked up."""
    batch = admission.batch_of(lot)
    fault = why_not(batch, today_in(room))
    may_stay = source.kind == target.kind or target.kind == PlaceKind.TRAINING
    if fault in admission.TO_QUARANTINE and not (fault in OUT_OF_DATE and may_stay):
        raise Refused(admission.CODES[fault], admission.sentence(batch, fault), lot=lot.pk)


# ------------------------------------------------------------------------------ between two rooms
def send(act: Act, *, lot: Lot, units: int, source: Place, room: Room) -> Entry:
    """Send units from a shelf to another room; until they arrive they are in transit to it.

    Raises Refused: `recalled` or the like, `not-enough`.
    """
    if source.kind != PlaceKind.SHELF or source.room is None:
        raise Invalid(_("Items can only be sent from a shelf."), field="place")
    if source.room_id == room.pk:
        raise Invalid(
            _("The item is already in %(room)s. Move it instead of sending it.")
            % {"room": room.name},
            field="room",
        )
    with Book(act) as book:
        act.actor.require("move", source.room_id)
        transit = room_place(room, PlaceKind.TRANSIT)
        _usable_there(lot, source, source, source.room)
        return book.post(
            EntryKind.MOVE,
            [Leg(lot, source, transit, whole(units))],
            lot=lot,
            room=source.room,
            detail={"sent_to": room.pk},
        )


def arrive(act: Act, *, lot: Lot, units: int, shelf: Place) -> Arrival:
    """Put what was sent onto a shelf of the room it was sent to.

    More than is in transit is written as found. What must not be used goes to quarantine.
    """
    if shelf.kind != PlaceKind.SHELF or shelf.room is None:
        raise Invalid(_("Items that arrive must be put on a shelf."), field="shelf")
    with Book(act) as book:
        act.actor.require("move", shelf.room_id)
        count = whole(units)
        place, irregular = admission.landing(lot, shelf)
        transit = room_place(shelf.room, PlaceKind.TRANSIT)
        held = Holding.objects.filter(lot=lot, place=transit).first()  # `landing` locked the batch
        sent = min(count, held.units) if held else 0
        legs = [Leg(lot, transit, place, sent)] if sent else []
        if sent < count:
            legs.append(Leg(lot, outer(PlaceKind.UNEXPLAINED), place, count - sent))
            irregular.append(ReasonCode.MORE_ARRIVED)
        entry = book.post(EntryKind.ARRIVE, legs, lot=lot, room=shelf.room, irregular=irregular)
        return Arrival(entry, lot, place, count, remarks=remarks(lot, irregular))
