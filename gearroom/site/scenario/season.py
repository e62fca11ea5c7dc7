"""Two seasons of trips, played in order: kits go out, come back used, are restocked and sealed.

It is played through the services, with the clock set to each act's own time, so the stock book
that comes out is one that could have been written day by day.
"""

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from gearroom.core import clock
from gearroom.core.models import Person
from gearroom.site.scenario.catalogue import Thing
from gearroom.site.scenario.school import School
from gearroom.site.scenario.stockroom import (
    check_instruments,
    leave_as_found,
    resupply,
    throw_out_what_went_off,
)
from kits.models import AsFound, Kit, Trip
from kits.rules.ledger.facts import Kind, Level
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.ledger import readiness, verdicts
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find
from kits.services.restocking import sorting
from kits.services.trips import reservations, trips
from kits.services.trips.trips import TripFacts

UK = ZoneInfo("Europe/London")
PLACES = ("Crag Fell", "Umber Tarn", "Hollow Beck", "Long Rigg", "Blea Edge", "Sallow Moss")


@dataclass(frozen=True)
class Going:
    """A trip of the scenario: `starts_in` days from today, `days` long, with one kit each."""

    name: str
    starts_in: int
    days: int
    people: int
    hazards: tuple[str, ...]
    kit: str
    guide: str
    leaves: time = time(9)


COMING = (
    Going(
        "Gorge weekend, Hollow Beck", 0, 2, 10, ("gorge",), "GROUP-01", "Ines Quarle", time(0, 5)
    ),
    Going("Hill day, Crag Fell", 1, 1, 9, ("hill",), "DAY-01", "Tam Brackley"),
    Going("Hill day, Long Rigg", 1, 1, 8, ("hill",), "DAY-02", "Wyn Osterley"),
    Going("Cave day, Blea Pot", 1, 1, 12, ("cave",), "GROUP-03", "Rafe Dunmore"),
    Going("Footpath work party, Blea Edge", 2, 1, 6, ("sharp-tools",), "WORK-01", "Ada Greystone"),
    Going("Hill day, Sallow Moss", 3, 1, 7, ("hill",), "DAY-04", "Mika Sallow"),
    Going("Umber Round, a week's walk", 4, 8, 11, ("hill", "remote"), "EXPED-01", "Fenna Holt"),
    Going("School gorge days", 5, 3, 14, ("gorge", "water"), "GROUP-02", "Ines Quarle"),
    Going("Gorge days, Umber Tarn", 11, 3, 12, ("gorge", "water"), "GROUP-01", "Ines Quarle"),
    Going("Cave hut weekend", 9, 2, 9, ("cave",), "GROUP-03", "Lior Penhale"),
)
OFTEN_USED = (
    # thing, in how many of a hundred trips, at most how many
    ("gauze swab 10 × 10 cm", 45, 5),
    ("blister dressing", 40, 3),
    ("nitrile gloves, pair", 45, 2),
    ("wound dressing, medium", 15, 1),
    ("zinc oxide tape 2.5 cm", 12, 1),
    ("eye wash 20 ml", 12, 1),
    ("triangular bandage", 6, 1),
    ("foil blanket", 8, 1),
    ("paracetamol 500 mg", 20, 4),
    ("glucose gel 25 g", 10, 1),
    ("crepe bandage 10 cm", 8, 1),
    ("antihistamine 10 mg", 6, 1),
)


def play_season(
    school: School, things: Sequence[Thing], today: date, say: Callable[[str], None]
) -> None:
    """Play the past, then leave the store as it stands today with its coming trips."""
    by_name = {thing.name: thing for thing in things}
    with clock.pretending(_at(today - timedelta(days=539), 8)):
        check_instruments(school, by_name)
        for kit in school.kits.values():
            _fill_and_seal(school, kit)
    past = list(_past(school.chance, today))
    for n, going in enumerate(past):
        _play(school, going, today)
        if n % 12 == 11:
            leaves = today + timedelta(days=going.starts_in + going.days)
            with clock.pretending(_at(leaves, 12)):
                throw_out_what_went_off(school)
                resupply(school, things)
                check_instruments(school, by_name)
    say(f"{len(past)} past trips")
    with clock.pretending(_at(today - timedelta(days=3), 10)):
        throw_out_what_went_off(school)
        resupply(school, things)
        check_instruments(school, by_name)
        for kit in school.kits.values():
            _fill_and_seal(school, kit)
        leave_as_found(school, by_name)
        for going in COMING:
            _promise(school, going, today)
    say(f"{len(COMING)} trips to come")


def _past(chance: random.Random, today: date) -> Iterator[Going]:
    """Some sixty trips of two seasons, each over before the next with the same kit begins."""
    guides = {
        "main": ("Tam Brackley", "Wyn Osterley", "Mika Sallow", "Ada Greystone", "Ines Quarle"),
        "cave": ("Rafe Dunmore", "Lior Penhale", "Fenna Holt"),
    }
    day = -530
    while day < -12:
        what = chance.random()
        where = chance.choice(PLACES)
        if what < 0.55:
            kit, name, days, hazards = f"DAY-0{chance.randint(1, 4)}", "Hill day", 1, ("hill",)
        elif what < 0.7:
            kit, name, days, hazards = f"DAY-0{chance.randint(5, 6)}", "Hut day", 1, ("hill",)
        elif what < 0.85:
            kit, name, days, hazards = f"GROUP-0{chance.randint(1, 2)}", "Gorge days", 3, ("gorge",)
        elif what < 0.95:
            kit, name, days, hazards = "GROUP-03", "Cave weekend", 2, ("cave",)
        else:
            kit, name, days, hazards = f"EXPED-0{chance.randint(1, 2)}", "Long walk", 7, ("hill",)
        team = guides["cave" if kit in ("DAY-05", "DAY-06", "GROUP-03") else "main"]
        yield Going(
            f"{name}, {where}", day, days, chance.randint(5, 9), hazards, kit, chance.choice(team)
        )
        day += days + chance.randint(4, 10)


def _at(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), UK)


def _fill_and_seal(school: School, kit: Kit) -> None:
    sorting.restock(school.act(), kit)
    number = sorting.next_seal_number(kit.room) or ("0400" if kit.room.slug[0] == "m" else "H070")
    # What is not in stock is sealed all the same, and stays on the restock list.
    sorting.reseal(school.act(), kit, number, anyway=True)


def _trip(school: School, going: Going, today: date) -> Trip:
    first = today + timedelta(days=going.starts_in)
    last = first + timedelta(days=going.days - 1)
    return trips.put(
        school.act("Trip booking"),
        "bookings",
        f"U{first:%y%m%d}-{going.kit[-2:]}{going.kit[0]}",
        TripFacts(
            name=going.name,
            room=school.kits[going.kit].home_room,
            departs_at=datetime.combine(first, going.leaves, UK),
            returns_at=_at(last, 17, 30),
            people=going.people,
            hazards=going.hazards,
            leader=school.people[going.guide],
        ),
    ).trip


def _promise(school: School, going: Going, today: date) -> Trip:
    trip = _trip(school, going, today)
    reservations.reserve(
        school.act(), school.kits[going.kit], trip, person=school.people[going.guide]
    )
    return trip


def _play(school: School, going: Going, today: date) -> None:
    """One past trip: reserved, out, back with what was used, restocked and sealed."""
    first = today + timedelta(days=going.starts_in)
    guide: Person = school.people[going.guide]
    with clock.pretending(_at(first - timedelta(days=2), 9)):
        trip = _promise(school, going, today)
    with clock.pretending(_at(first, 8, 40)):
        kit = find.any_kit(going.kit)
        if not verdicts.verdict(kit, trip.last_day, trip).fit:
            _fill_and_seal(school, kit)
        custody.check_out(
            school.act(), kit, person=guide, trip=trip, short_reason="nothing better is here"
        )
    with clock.pretending(trip.returns_at + timedelta(minutes=20)):
        kit = find.any_kit(going.kit)
        used = _used(school, kit)
        if not used:
            custody.check_in(school.act(), kit, as_found=AsFound.SEALED)
            return
        main = find.section(kit, "")
        plasters = school.items["plasters, assorted"]
        levels = [LooseLevel(main, plasters, Level.LOW)] if school.chance.random() < 0.3 else []
        custody.check_in(school.act(), kit, as_found=AsFound.OPENED, used=used, levels=levels)
    with clock.pretending(trip.returns_at + timedelta(hours=2)):
        _fill_and_seal(school, find.any_kit(going.kit))


def _used(school: School, kit: Kit) -> list[UseLine]:
    """What a trip used, of what its kit carries; often nothing."""
    if school.chance.random() < 0.3:
        return []
    carried = {
        x.batch.thing.name: x.count
        for x in readiness.states([kit.pk])[kit.pk].units
        if x.batch.thing.kind in (Kind.CONSUMABLE, Kind.MEDICINE)
    }
    return [
        UseLine(school.items[name], school.chance.randint(1, min(most, carried[name])))
        for name, percent, most in OFTEN_USED
        if name in carried and school.chance.random() * 100 < percent
    ]
