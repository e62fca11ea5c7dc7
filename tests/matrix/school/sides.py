"""Two gear rooms that are alike, and what belongs to neither."""

from dataclasses import dataclass, field
from typing import Any

from gearroom.core.models import Person, Room
from kits.models import (
    Advice,
    CalendarEvent,
    Clearance,
    Entry,
    FilledKit,
    Item,
    Kit,
    ListChange,
    Location,
    Lot,
    Notice,
    Offer,
    Order,
    PackingListVersion,
    Place,
    Recall,
    RecallPlace,
    Reservation,
    TripCalendar,
    Webhook,
)
from tests.matrix.accounts import Account


@dataclass
class Everywhere:
    """What belongs to the whole organisation."""

    adviser: Account
    chief: Account
    newcomer: Account
    items: dict[str, Item]
    lots: dict[str, Lot]
    version: PackingListVersion
    unsigned: PackingListVersion
    draft: PackingListVersion
    change: ListChange
    recalls: dict[str, Recall]
    sheet: str
    offer: Offer
    advice: dict[str, Advice] = field(default_factory=dict)


@dataclass
class Side:
    """One room, with what is in it. `kits` are by what is so of them."""

    room: Room
    word: str
    people: dict[str, Account]
    shelf: Place
    upper: Place
    kits: dict[str, Kit] = field(default_factory=dict)
    trips: dict[str, Any] = field(default_factory=dict)
    labels: dict[str, Any] = field(default_factory=dict)
    entries: dict[str, Entry] = field(default_factory=dict)
    links: dict[str, str] = field(default_factory=dict)
    rows: dict[str, RecallPlace] = field(default_factory=dict)
    orders: dict[str, Order] = field(default_factory=dict)
    reservation: Reservation | None = None
    clearance: Clearance | None = None
    notice: Notice | None = None
    device: Any = None
    webhook: Webhook | None = None
    calendar: TripCalendar | None = None
    new_calendar: TripCalendar | None = None
    gone_event: CalendarEvent | None = None
    visitor: Person | None = None
    double: Person | None = None
    gone: Person | None = None
    closed_shelf: Place | None = None
    filled: FilledKit | None = None
    locations: dict[str, Location] = field(default_factory=dict)
    cold_shelf: Place | None = None
    thawed_shelf: Place | None = None


@dataclass
class School:
    """Both rooms, and what belongs to neither."""

    store: Side
    hut: Side
    all: Everywhere
