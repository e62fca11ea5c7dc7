"""Units that become units of another batch: a date is read off them, or their pack is opened.

A batch without a date stands for many packs, so a date that is read is of the units in one place,
not of the batch: they are counted as units of the batch with that date. A pack whose life is
shorter once opened is a batch of its own from then on.
"""

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid, Refused, refuse_first
from gearroom.core.models import Room
from kits.models import Entry, EntryKind, Holding, Lot, Place, PlaceKind
from kits.rules.ledger.facts import Kind, KitState
from kits.services.ledger import Book, Leg, lots, outer, readiness
from kits.services.lookup import find
from kits.services.stock import moving, receiving
from kits.services.text.amounts import units as whole


@dataclass(frozen=True)
class UndatedUnits:
    """Units in a kit or on a shelf that need a date and have none on record.

    `stops`: they block their kit now, or on a shelf may go into none. `until` is the last day on
    which they may stay in their kit, None where no such day is set or left.
    """

    place: Place
    lot: Lot
    units: int
    stops: bool
    until: date | None = None


def to_check(room: Room, actor: Actor | None = None) -> list[UndatedUnits]:
    """What to check on a room's shelves and in the kits at home there, or now in it: what blocks a
    kit first, then by place. With an actor, of what they may see. Eight queries at most."""
    places = Place.objects.all() if actor is None else find.places_of(actor)
    held = (
        Holding.objects.on_hand()
        .filter(
            lot__expiry__isnull=True,
            lot__item__needs_date=True,
            place__in=places.filter(kind__in=(PlaceKind.SHELF, PlaceKind.SECTION)),
        )
        .select_related("lot__item", "place__kit__home_room", "place__room")
        .order_by("place__kit__name", "place__position", "place", "lot__item__name", "lot")
    )
    rows = [row for row in held if room.pk in _rooms_of(row.place)]
    states = readiness.states({row.place.kit_id for row in rows if row.place.kit_id})
    return sorted(
        (_undated(row, states.get(row.place.kit_id or 0)) for row in rows),
        key=lambda row: (not row.stops, row.until is None, not row.place.kit_id),
    )


def record_date(
    act: Act, *, place: Place, lot: Lot, units: int, expiry: date | None, number: str = ""
) -> Entry:
    """Record the date that somebody read off units in a place, and their lot number where it was
    not known. The rest of the batch there stays as it is.

    Raises Invalid, Refused (`not-enough`).
    """
    count = whole(units)
    refuse_first(
        (expiry is None, Invalid(_("Enter the expiry date printed on the pack."), field="expiry")),
        (
            bool(lot.expiry is not None or lot.serial),
            Invalid(
                _("This batch already has an expiry date. Correct the batch instead."), field="lot"
            ),
        ),
    )
    with Book(act) as book:
        kit, room = moving.lock_place(book, place, "count")
        receiving.check_expiry(expiry, receiving.today_in(room))
        known = lots.known(
            item=lot.item, number=lot.number or number, expiry=expiry, opened_on=lot.opened_on
        )
        return book.post(
            EntryKind.COUNT,
            _over(place, lot, known, count),
            kit=kit,
            lot=known,
            room=room,
            detail={"places": [place.pk], "complete": False, "counted": {}, "date_read": True},
        )


@dataclass(frozen=True)
class OpenedPack:
    """The batch that opened units became, good for the shorter of its two dates."""

    entry: Entry
    lot: Lot


def open_pack(act: Act, *, place: Place, lot: Lot, units: int) -> OpenedPack:
    """Record that units of an item with a shorter life once opened were opened.

    Raises Refused: `no-opened-life`, `opened-already`, `not-enough`.
    """
    refuse_first(
        (
            lot.item.opened_life_days is None,
            Refused(
                "no-opened-life",
                _(
                    "The expiry date of %(item)s does not change once it is opened. There is "
                    "nothing to record."
                )
                % {"item": lot.item.name},
            ),
        ),
        (
            lot.opened_on is not None,
            Refused(
                "opened-already",
                _("Already recorded as opened on %(opened_on)s.") % {"opened_on": lot.opened_on},
                lot=lot.pk,
            ),
        ),
    )
    with Book(act) as book:
        kit, room = moving.lock_place(book, place, "open")
        count = whole(units)
        when = min(act.claimed_at or act.received_at, act.received_at)
        opened = lots.known(
            item=lot.item,
            number=lot.number,
            expiry=lot.expiry,
            opened_on=clock.local_date(when, room.time_zone),
        )
        entry = book.post(
            EntryKind.OPEN,
            _over(place, lot, opened, count),
            kit=kit,
            lot=opened,
            room=room,
        )
    return OpenedPack(entry, opened)


# ------------------------------------------------------------------------------------------ inside
def _rooms_of(place: Place) -> set[int | None]:
    if (kit := place.kit) is None:
        return {place.room_id}
    return set() if kit.retired_on else {kit.home_room_id, kit.room_id}


def _undated(row: Holding, state: KitState | None) -> UndatedUnits:
    item = readiness.thing_of(row.lot.item)
    blocks = item.sterile or item.kind is Kind.MEDICINE
    until = None
    if (
        blocks
        and item.kind is not Kind.MEDICINE
        and state is not None
        and row.place.kit is not None
    ):
        grace = state.undated_grace_until
        until = grace if grace and readiness.today_of(row.place.kit) <= grace else None
    return UndatedUnits(row.place, row.lot, row.units, stops=blocks and not until, until=until)


def _over(place: Place, lot: Lot, to: Lot, units: int) -> list[Leg]:
    """Let units in a place be of another batch."""
    between = outer(PlaceKind.RECLASSIFIED)
    return [Leg(lot, place, between, units), Leg(to, between, place, units)]
