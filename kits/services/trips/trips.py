"""Trips as their source has them: a booking system, or somebody by hand.

A trip is put whole, as often as its source likes; put again unchanged, nothing happens. When it is
on other days than before, the kits reserved for it may be reserved for two trips at once: those
are listed, and their keepers get a notice.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    NOT_GIVEN,
    Act,
    Invalid,
    NotFound,
    NotGiven,
    Unacceptable,
    refuse_first,
    store,
)
from gearroom.core.models import Person, Room
from gearroom.core.rules.sentences import InvalidValue
from kits.models import Activity, Checkout, Entry, EntryKind, Reservation, Trip
from kits.models.details import TripDetail
from kits.rules.text.hazards import hazards
from kits.rules.trips.trips import check_days
from kits.services.ledger import Book
from kits.services.ledger.kit_state import iso
from kits.services.notices import TripChanged, writing
from kits.services.text.wording import as_invalid, in_words
from kits.services.trips import reservations

BY_HAND = "by-hand"
LONGEST = timedelta(days=366)
MOST_PEOPLE = 10_000

_SOURCE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*", re.ASCII)


@dataclass(frozen=True)
class TripFacts:
    """All that a source says of a trip. Days are local dates; without them they follow from
    `departs_at` and `returns_at` where the room is. The leader is a person, or a name and phone.
    An `activity` and `hours_to_care` (to definitive care) that are not given stay as they are."""

    name: str
    departs_at: datetime
    returns_at: datetime
    people: int
    room: Room | None = None
    first_day: date | None = None
    last_day: date | None = None
    hazards: Sequence[str] = ()
    children: bool = False
    latex_free: bool = False
    leader: Person | None = None
    leader_name: str = ""
    leader_phone: str = ""
    cancelled: bool = False
    activity: Activity | NotGiven | None = NOT_GIVEN
    hours_to_care: Decimal | NotGiven | None = NOT_GIVEN


@dataclass(frozen=True)
class Clash:
    """A kit reserved for a trip and for another on the same days."""

    reservation: Reservation
    other: Reservation


@dataclass(frozen=True)
class TripChange:
    """What putting a trip did: `outcome` is "created", "updated" or "unchanged". `released`: the
    kits (by name) that a cancelled trip gave free. `due_changed`: the kits that are out on it and
    are due at its new return, as they were at the old one."""

    trip: Trip
    outcome: str
    clashes: Sequence[Clash] = field(default_factory=list)
    entry: Entry | None = None
    released: Sequence[str] = ()
    due_changed: Sequence[str] = ()


def put(
    act: Act,
    source: str,
    reference: str,
    facts: TripFacts,
) -> TripChange:
    """Make or change the trip that a source knows by a reference. What is out on it and due at its
    return stays due at its return; a due time that somebody set stays as it is.

    Raises Unacceptable (`trip-ends-before-it-begins`, `trip-too-long`), Invalid, and NotFound for
    a trip of a room that is not the actor's.
    """
    refuse_first(
        (
            not _SOURCE.fullmatch(source) or len(source) > 40,
            Invalid(
                _(
                    "The name of a source may contain only lower-case letters, digits and hyphens, "
                    "for example “bookings”."
                ),
                field="source",
            ),
        ),
        (
            not any(letter.isalnum() for letter in reference)
            or len(reference) > 80
            or not reference.isprintable()
            or "/" in reference,
            Invalid(
                _(
                    "A reference must have 1 to 80 characters, including at least one letter or "
                    "digit, and no slash."
                ),
                field="reference",
            ),
        ),
    )
    act.actor.require("edit_trip", facts.room.pk if facts.room else None)
    columns = _columns(facts)
    try:
        return _put(act, source, reference, columns, facts.cancelled)
    except IntegrityError:
        # Somebody else put the same new trip a moment ago: this is a change of it.
        return _put(act, source, reference, columns, facts.cancelled)


def add_by_hand(act: Act, facts: TripFacts) -> TripChange:
    """Make a trip that no other system knows, under a reference of our own."""
    return put(act, BY_HAND, act.key.hex[:10], facts)


def clashes_of(trip: Trip) -> list[Clash]:
    """The kits reserved for a trip that are reserved for another on the same days."""
    if trip.cancelled_at is not None:
        return []
    ours = {
        r.kit_id: r
        for r in Reservation.objects.promised()
        .filter(trip=trip)
        .select_related("kit__home_room", "kit__responsible", "kit__deputy")
    }
    return [Clash(ours[other.kit_id], other) for other in reservations.clashing(ours, trip)]


def freed(trip: Trip) -> list[str]:
    """The kits (by name) that a cancelled trip gave free when it was cancelled; of any other trip,
    none."""
    if trip.cancelled_at is None:
        return []
    last = (
        Entry.objects.filter(kind=EntryKind.TRIP, trip=trip, detail__what="cancelled")
        .order_by("-id")
        .values_list("key", flat=True)
        .first()
    )
    if last is None:
        return []
    return list(
        Reservation.objects.filter(trip=trip, released__key=last)
        .order_by("kit__name")
        .values_list("kit__name", flat=True)
    )


def check_span(departs_at: datetime, returns_at: datetime, first: date, last: date) -> None:
    """Raise Unacceptable for a trip that ends before it begins, or lasts more than a year."""
    wrong = ""
    try:
        check_days(first, last)
    except InvalidValue as error:
        wrong = in_words(error.says)
    if returns_at < departs_at:
        wrong = _("The trip returns before it departs. Check its times.")
    if wrong:
        raise Unacceptable(
            "trip-ends-before-it-begins",
            wrong,
            departs_at=departs_at.isoformat(),
            returns_at=returns_at.isoformat(),
            first_day=first.isoformat(),
            last_day=last.isoformat(),
        )
    if returns_at - departs_at > LONGEST or last - first > LONGEST:
        raise Unacceptable(
            "trip-too-long", _("This trip lasts more than a year. Check the trip’s dates.")
        )


def notify_keepers(
    entry: Entry,
    trip: Trip,
    what: str,
    clashes: Sequence[Clash],
    released: Sequence[Reservation] = (),
) -> None:
    """Tell the keepers of the kits concerned: those that clash, or that a cancelled trip gave
    free."""
    facts: TripChanged = {
        "what": what,
        "trip": trip.name,
        "released": [row.kit.name for row in released],
        "clashes": [
            {"kit": c.other.kit.name, "trip": c.other.trip.name, "trip_id": c.other.trip_id}
            for c in clashes
        ],
    }
    for row in [*(c.reservation for c in clashes), *released]:
        writing.notify_keepers(entry, "trip-changed", kit=row.kit, facts=facts)


# ------------------------------------------------------------------------------------------- inside
def _columns(facts: TripFacts) -> dict[str, Any]:
    """What the table keeps of a trip; refuses what cannot be."""
    name = " ".join(facts.name.split())
    refuse_first(
        (not name, Invalid(_("Enter a name for the trip."), field="name")),
        (
            not 1 <= facts.people <= MOST_PEOPLE,
            Invalid(
                _("A trip must have 1 to %(most_people)s people.") % {"most_people": MOST_PEOPLE},
                field="people",
            ),
        ),
    )
    zone = facts.room.time_zone if facts.room else settings.TIME_ZONE
    first = facts.first_day or clock.local_date(facts.departs_at, zone)
    last = facts.last_day or clock.local_date(facts.returns_at, zone)
    check_span(facts.departs_at, facts.returns_at, first, last)
    with as_invalid("hazards"):
        known = hazards(facts.hazards)
    return {
        "name": name,
        "room": facts.room,
        "departs_at": facts.departs_at,
        "returns_at": facts.returns_at,
        "first_day": first,
        "last_day": last,
        "people": facts.people,
        "hazards": known,
        "children": facts.children,
        "latex_free": facts.latex_free,
        "leader": facts.leader,
        "leader_name": facts.leader_name,
        "leader_phone": facts.leader_phone,
        **({} if facts.activity is NOT_GIVEN else {"activity": facts.activity}),
        **({} if facts.hours_to_care is NOT_GIVEN else {"hours_to_care": facts.hours_to_care}),
    }


def _put(
    act: Act,
    source: str,
    reference: str,
    columns: dict[str, Any],
    cancelled: bool,
) -> TripChange:
    with Book(act) as book:
        # Kits are locked before the trip, as everywhere.
        due_then = _due_at_return(source, reference).exclude(due_at=columns["returns_at"])
        book.lock(
            *due_then.values_list("kit", flat=True),
            *(reservations.kits_of(source, reference) if cancelled else ()),
        )
        trip = (
            Trip.objects.select_for_update(of=("self",), no_key=True)
            .select_related("room", "leader")
            .filter(source=source, reference=reference)
            .first()
        )
        if trip is None:
            act.match(None)
            return _create(book, source, reference, columns, cancelled)
        if trip.room_id is not None and not act.actor.belongs_to(trip.room_id):
            raise NotFound("trip", reference)
        act.actor.require("edit_trip", trip.room_id)
        act.match(trip)
        return _change(book, trip, columns, cancelled)


def _change(book: Book, trip: Trip, columns: dict[str, Any], cancelled: bool) -> TripChange:
    """Bring a locked trip to what its source has now."""
    changed = {name: value for name, value in columns.items() if getattr(trip, name) != value}
    detail: TripDetail = {
        "what": "cancelled" if cancelled and trip.cancelled_at is None else "changed",
        "changed": {
            name: [_plain(getattr(trip, name)), _plain(changed[name])]
            for name in sorted(changed)
            if name not in _ABOUT_PEOPLE
        },
    }
    stood = trip.cancelled_at is None
    held: list[Checkout] = []
    if "returns_at" in changed and not _extended_by_hand(trip):
        held = list(
            _due_at_return(trip.source, trip.reference)
            .filter(kit__in=book.locked)
            .select_related("kit")
            .order_by("kit", "id")
        )
    if not changed and cancelled == (not stood):
        return TripChange(trip, "unchanged", clashes_of(trip))
    store(
        trip,
        **changed,
        cancelled_at=(trip.cancelled_at or book.act.received_at) if cancelled else None,
        changed_at=book.act.received_at,
        revision=trip.revision + 1,
    )
    if held:
        detail["due"] = {str(each.pk): iso(each.due_at) for each in held}
    entry = book.post(EntryKind.TRIP, room=trip.room, trip=trip, detail=detail)
    for each in held:
        store(each, due_at=max(trip.returns_at, each.out_at))
    clashes = clashes_of(trip)
    released: list[Reservation] = []
    if cancelled and stood:
        released = reservations.release_all(book, trip)
        notify_keepers(entry, trip, "cancelled", [], released)
    elif clashes and (changed.keys() & {"first_day", "last_day"} or not stood):
        notify_keepers(entry, trip, "changed", clashes)
    return TripChange(
        trip,
        "updated",
        clashes,
        entry,
        [row.kit.name for row in released],
        list(dict.fromkeys(each.kit.name for each in held)),
    )


def _due_at_return(source: str, reference: str) -> QuerySet[Checkout]:
    """What is out on a trip and due when that returns."""
    return Checkout.objects.open().filter(
        trip__source=source, trip__reference=reference, due_at=F("trip__returns_at")
    )


def _extended_by_hand(trip: Trip) -> bool:
    """Whether somebody put off its return, and with it when its kits are due, since its source
    last did."""
    last = (
        Entry.objects.filter(kind=EntryKind.TRIP, trip=trip, detail__changed__has_key="returns_at")
        .order_by("-id")
        .values_list("detail", flat=True)
        .first()
    )
    return last is not None and last["what"] == "extended"


_ABOUT_PEOPLE = frozenset({"leader", "leader_name", "leader_phone"})
"""What the record, from which nothing is ever deleted, does not keep of a trip."""


def _create(
    book: Book, source: str, reference: str, columns: dict[str, Any], cancelled: bool
) -> TripChange:
    now = book.act.received_at
    with transaction.atomic():
        trip = Trip.objects.create(
            source=source,
            reference=reference,
            cancelled_at=now if cancelled else None,
            created_at=now,
            changed_at=now,
            **columns,
        )
    entry = book.post(EntryKind.TRIP, room=trip.room, trip=trip, detail={"what": "created"})
    return TripChange(trip, "created", [], entry)


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    return value.pk if isinstance(value, Room | Activity) else value
