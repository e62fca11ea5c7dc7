"""What tests of the gear room start from: a school with shelves, people, things, stock and a kit.

Plain functions over the real services; only what has no service yet is written as rows. Dates are
relative to today, so that nothing goes out of date while the tests are kept.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import count
from typing import Any

from django.utils import timezone

from gearroom.core.acts import SYSTEM, Act, Actor, actor_of
from gearroom.core.models import Membership, Person, Room, User
from gearroom.core.rules.roles import Role
from kits.models import (
    Entry,
    EntryKind,
    Holding,
    Item,
    Kit,
    Label,
    ListLine,
    ListSection,
    Lot,
    PackingList,
    PackingListVersion,
    Place,
    PlaceKind,
    Reservation,
    Trip,
)
from kits.rules.ledger.facts import Criticality, Kind
from kits.services.ledger import known_then, lots
from kits.services.ledger.book import Book
from kits.services.restocking import sorting
from kits.services.stock import receiving
from tests.core.api.made import Caller
from tests.day import today as today
from tests.kits import again
from tests.present import present

_numbers = count(1)


def days(number: int) -> date:
    """That many days from today."""
    return today() + timedelta(days=number)


# --------------------------------------------------------------------------- people and rooms
def room(name: str = "Main store") -> Room:
    """A gear room."""
    return Room.objects.create(
        name=name,
        slug=name.lower().replace(" ", "-"),
        time_zone="UTC",
        how_to_return=f"Bring it to the {name}.",
    )


def person(name: str, role: Role | None = None, at: Room | None = None) -> Person:
    """Somebody with a sign-in and, where given, a role in a room (None: everywhere)."""
    user = User.objects.create_user(f"{name.lower()}-{next(_numbers)}")
    Person.objects.filter(pk=user.person.pk).update(name=name, home_room=at)
    if role is not None:
        Membership.objects.create(person=user.person, role=role.value, room=at)
    return Person.objects.select_related("user").get(pk=user.person.pk)


def actor(who: Person | None) -> Actor:
    """Somebody as who acts; None is the program itself."""
    return actor_of(present(who.user)) if who else SYSTEM


def act(who: Person | None = None, **more: Any) -> Act:
    """One act of theirs, under a new key."""
    return Act(actor=actor(who), **more)


def caller(who: Person) -> Caller:
    """A program that calls the API as them."""
    return Caller(present(who.user))


# ------------------------------------------------------------------------------------- things
def item(name: str, kind: Kind = Kind.CONSUMABLE, **more: Any) -> Item:
    """A kind of thing."""
    made = Item.objects.create(name=name, kind=kind.value, **{"base_unit": "piece", **more})
    known_then.remember(made)
    return made


def shelf(at: Room, name: str) -> Place:
    """A shelf."""
    return Place.objects.create(kind=PlaceKind.SHELF, room=at, name=name)


def some(of: Item, on: Place, units: int, number: str = "", expiry: date | None = None) -> Lot:
    """Units of a batch received onto a shelf."""
    return receiving.receive(
        act(), item=of, shelf=on, units=units, number=number, expiry=expiry
    ).lot


def batch(of: Item, number: str = "", expiry: date | None = None) -> Lot:
    """A batch of which nothing is anywhere yet."""
    return lots.known(item=of, number=number, expiry=expiry)


def instrument(of: Item, on: Place, serial: str) -> Lot:
    """One instrument received onto a shelf."""
    return receiving.receive(act(), item=of, shelf=on, units=1, serial=serial).lot


def units(lot: Lot, place: Place) -> int:
    """How many units of a batch a place holds."""
    return Holding.objects.filter(lot=lot, place=place).values_list("units", flat=True).first() or 0


# ------------------------------------------------------------------------------ lists and kits
Lines = dict[str, list[tuple[Item, int, int, Criticality]]]
"""Lines of a kit list by section: thing, carry, never below, how much it matters."""


def kit_list(
    name: str, lines: Lines, signed_by: Person | None = None, **more: Any
) -> PackingListVersion:
    """A published version of a kit list, signed for a year where somebody signs it."""
    signed = (
        {"signed_by": signed_by, "signed_on": today(), "signed_until": days(365)}
        if signed_by
        else {}
    )
    version = PackingListVersion.objects.create(
        packing_list=PackingList.objects.create(name=name),
        number=1,
        created_at=timezone.now(),
        published_at=timezone.now(),
        **{"people": 10, "days": 1, **signed, **more},
    )
    for position, (key, rows) in enumerate(lines.items()):
        section = ListSection.objects.create(
            version=version, key=key, name=key.capitalize(), position=position
        )
        for at, (of, carry, never_below, criticality) in enumerate(rows):
            ListLine.objects.create(
                section=section,
                item=of,
                carry=carry,
                never_below=never_below,
                criticality=criticality.value,
                position=at,
            )
    return version


def kit(
    name: str, follows: PackingListVersion, at: Room, *, entered: bool = True, **more: Any
) -> Kit:
    """An empty kit with the sections of its list, counted as empty; with `entered` False nobody has
    said what is in it."""
    made = Kit.objects.create(name=name, list_version=follows, home_room=at, room=at, **more)
    for part in follows.sections.all():
        Place.objects.create(
            kind=PlaceKind.SECTION,
            kit=made,
            name=part.name,
            section_key=part.key,
            position=part.position,
        )
    with Book(act(claimed_at=timezone.now() - timedelta(days=3))) as book:
        (locked,) = book.lock(made.pk)
        if entered:
            book.post(EntryKind.COUNT, kit=locked, detail={"looked_inside": False})
    return fresh(made)


def fresh(of: Kit) -> Kit:
    """The kit as it is on record now."""
    return Kit.objects.select_related("room", "home_room", "list_version").get(pk=of.pk)


def section(of: Kit, key: str = "main") -> Place:
    """A kit's section."""
    return of.sections.get(section_key=key)


def put_in(of: Kit, lot: Lot, on: Place, units: int, key: str = "main") -> None:
    """Put units from a shelf into a kit's section, checked like any restocking."""
    row = sorting.PutIn(lot, on, section(of, key), units)
    sorting.restock(act(), of, extra=[row], as_listed=False, levels=())


def trip(name: str, at: Room | None, first: int = 0, last: int = 0, **more: Any) -> Trip:
    """A trip; `first` and `last` are days from today."""
    start = timezone.now().replace(microsecond=0) + timedelta(days=first)
    return Trip.objects.create(
        source="by-hand",
        reference=f"{name}-{next(_numbers)}",
        name=name,
        room=at,
        departs_at=start,
        returns_at=min(
            start + timedelta(days=last - first, hours=9),
            datetime.combine(days(last), time(23, 59, 59), UTC),
        ),
        first_day=days(first),
        last_day=days(last),
        created_at=timezone.now(),
        changed_at=timezone.now(),
        **{"people": 8, **more},
    )


# ----------------------------------------------------------------------------------- the school
class Additions:
    """What the fixtures of some files add to the small school."""

    splint: Item
    splints: Lot
    day_03: Kit
    other_guide: Person
    wash: Item
    closed: Lot
    inside: Lot
    on_shelf: Lot
    trip: Trip
    tag: Label
    hut_kit: Kit
    hut_trip: Trip
    hut_keeper: Person
    keeper_of_hut: Person
    hut_lot: Lot
    hut_promise: Reservation
    hut_entry: Entry
    named: dict[str, Any]


@dataclass
class World(Additions):
    """A small school. `DAY-01` is filled, looked inside and fit; `DAY-02` is empty."""

    store: Room
    hut: Room
    shelf: Place
    upper: Place
    hut_shelf: Place
    keeper: Person
    instructor: Person
    guide: Person
    adviser: Person
    stranger: Person
    dressing: Item
    shears: Item
    tablets: Item
    gauge: Item
    plasters: Item
    dressings: Lot
    version: PackingListVersion
    day_01: Kit
    day_02: Kit
    lots: dict[str, Lot] = field(default_factory=dict)


def world() -> World:
    """The school of `make_world`, written row by row where it was made before in this process."""
    made: World = again.once("world", make_world)
    return made


def make_world() -> World:
    """A store with a hut beside it, people in every role, five things, stock, and two kits.

    On the shelves: dressings D1 (12 left, good for 400 days), D2 (10, 800 days), 5 shears, 40
    tablets, gauge G-1, never checked; in DAY-01: 6 dressings D1, 1 pair of shears, 8 tablets.
    """
    store, hut = room("Main store"), room("Cave hut")
    on, upper, hut_shelf = shelf(store, "C2"), shelf(store, "C3"), shelf(hut, "H1")
    keeper = person("Kim", Role.KEEPER, store)
    instructor = person("Ines", Role.INSTRUCTOR, store)
    guide = person("Gil", Role.GUIDE, store)
    adviser = person("Ada", Role.ADVISER)
    stranger = person("Sam", Role.GUIDE, hut)
    dressing = item("Wound dressing 10 × 12", sterile=True)
    shears = item("Shears", Kind.TOOL, needs_date=False)
    tablets = item(
        "Pain tablets", Kind.MEDICINE, base_unit="tablet", disposal="pharmacy", opened_life_days=90
    )
    gauge = item(
        "Pressure gauge",
        Kind.INSTRUMENT,
        needs_date=False,
        check_every_days=180,
        check_question="Is the needle in the green?",
    )
    plasters = item("Plasters", by_eye=True, needs_date=False)
    version = kit_list(
        "Day walk",
        {
            "main": [
                (dressing, 6, 4, Criticality.MUST_HAVE),
                (shears, 1, 1, Criticality.IMPORTANT),
                (plasters, 1, 0, Criticality.ROUTINE),
            ],
            "pouch": [(tablets, 8, 4, Criticality.ROUTINE)],
        },
        signed_by=adviser,
    )
    made = {
        "d1": some(dressing, on, 18, "D1", days(400)),
        "d2": some(dressing, upper, 10, "D2", days(800)),
        "shears": some(shears, on, 6),
        "tablets": some(tablets, on, 48, "T1", days(300)),
        "gauge": instrument(gauge, on, "G-1"),
    }
    day_01 = kit("DAY-01", version, store, responsible=instructor)
    sorting.restock(act(), day_01)
    return World(
        store=store,
        hut=hut,
        shelf=on,
        upper=upper,
        hut_shelf=hut_shelf,
        keeper=keeper,
        instructor=instructor,
        guide=guide,
        adviser=adviser,
        stranger=stranger,
        dressing=dressing,
        shears=shears,
        tablets=tablets,
        gauge=gauge,
        plasters=plasters,
        dressings=made["d1"],
        version=version,
        day_01=fresh(day_01),
        day_02=kit("DAY-02", version, store, responsible=instructor),
        lots=made,
    )
