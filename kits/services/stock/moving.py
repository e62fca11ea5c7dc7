"""Stock moved from place to place within a room, and sent to another."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused, refuse_first
from gearroom.core.models import Room
from kits.models import Entry, EntryKind, Holding, Item, Kit, Lot, Place, PlaceKind
from kits.rules.ledger import OUT_OF_DATE, ReasonCode, why_not
from kits.services.ledger import Book, Leg, admission, outer, room_place
from kits.services.stock.receiving import Arrival, remarks, today_in
from kits.services.text.amounts import units as whole


def move(act: Act, *, lot: Lot, units: int, source: Place, target: Place) -> Entry:
    """Move units within a room: between shelves, to the training box, into or out of quarantine;
    out of a kit's section, or to another section of the same kit.

    Raises Refused: `training-never-back`, `not-for-class`, `send-instead` (another room),
    `restock-instead` (into a kit), one of the codes of `guard` for what may not leave quarantine,
    `not-enough`.
    """
    with Book(act) as book:
        kit, room = lock_place(book, source, "move")
        count = whole(units)
        _may_move(lot, source, target, room, kit)
        return book.post(
            EntryKind.MOVE, [Leg(lot, source, target, count)], kit=kit, lot=lot, room=room
        )


@dataclass(frozen=True)
class Portion:
    """Units of a batch in a place."""

    place: Place
    lot: Lot
    units: int


def move_all(act: Act, room: Room, portions: Sequence[Portion], target: Place) -> Entry:
    """Move what several places of a room outside of its kits hold, all in one act.

    Raises as `move`; where one of them may not be moved, none is.
    """
    with Book(act) as book:
        act.actor.require("move", room.pk)
        refuse_elsewhere(room, portions)
        for each in portions:
            _may_move(each.lot, each.place, target, room, None)
        return book.post(EntryKind.MOVE, _legs(portions, target), room=room)


def refuse_elsewhere(room: Room, portions: Sequence[Portion]) -> None:
    """Raise Invalid (`rows`) for nothing at all, and for what no place of a room outside of its
    kits has."""
    if not portions:
        raise Invalid(_("Choose at least one batch."), field="rows")
    for each in portions:
        if each.place.room_id != room.pk or each.place.kind in (PlaceKind.TRANSIT, PlaceKind.AWAY):
            raise Invalid(
                _("%(place)s is not in %(room)s.") % {"place": each.place.name, "room": room.name},
                field="rows",
            )


def _legs(portions: Sequence[Portion], target: Place) -> list[Leg]:
    return [Leg(each.lot, each.place, target, whole(each.units)) for each in portions]


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
            Invalid(
                _("%(item)s is already in %(place)s. Choose another place.")
                % {"item": lot.item.name, "place": target.name},
                field="to",
            ),
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
                _("Items can only be put into a kit by restocking or filling it."),
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
            target.kind == PlaceKind.TRAINING and not lot.item.for_class,
            not_for_class(lot.item),
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


def not_for_class(item: Item) -> Refused:
    """The refusal to set aside for training what no class may handle."""
    return Refused(
        "not-for-class",
        _(
            "%(item)s is not for training: medicines, sharps and clinical waste are never used "
            "in class. Dispose of it in its own way."
        )
        % {"item": item.name},
        item=item.pk,
    )


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
    return send_all(act, [Portion(source, lot, units)], room)


def send_all(act: Act, portions: Sequence[Portion], room: Room) -> Entry:
    """Send what several shelves of one room hold to another, all in one act.

    Raises as `send`; where one of them may not be sent, none is.
    """
    origin = _origin(portions, room)
    with Book(act) as book:
        act.actor.require("move", origin.pk)
        transit = room_place(room, PlaceKind.TRANSIT)
        for each in portions:
            _usable_there(each.lot, each.place, each.place, origin)
        return book.post(
            EntryKind.MOVE,
            _legs(portions, transit),
            lot=portions[0].lot if len(portions) == 1 else None,
            room=origin,
            detail={"sent_to": room.pk},
        )


def _origin(portions: Sequence[Portion], room: Room) -> Room:
    """The room on whose shelves all of it is. Raises Invalid."""
    origin = portions[0].place.room if portions else None
    if origin is None or any(each.place.kind != PlaceKind.SHELF for each in portions):
        raise Invalid(_("Items can only be sent from a shelf."), field="place")
    if origin.pk == room.pk:
        raise Invalid(
            _("The item is already in %(room)s. Move it instead of sending it.")
            % {"room": room.name},
            field="room",
        )
    refuse_elsewhere(origin, portions)
    return origin


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
