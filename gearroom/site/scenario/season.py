"""Two seasons of trips, played in order: kits go out, come back used, are restocked and sealed.

It is played through the services, with the clock set to each act's own time, so the stock book
that comes out is one that could have been written day by day.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, time, timedelta

from gearroom.core import clock
from gearroom.site.scenario.school import PLAN, School, at
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
from kits.services.ledger import readiness
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find
from kits.services.restocking import sorting
from kits.services.trips import reservations, trips
from kits.services.trips.trips import TripFacts


@dataclass(frozen=True)
class Going:
    """A trip of the scenario: `starts_in` days from today, `days` long, with one kit each."""

    name: str
    starts_in: int
    days: int
    people: int
    hazards: list[str]
    kit: str
    guide: str
    leaves: time = time(9)


def play_season(school: School, today: date, say: Callable[[str], None]) -> None:
    """Play the past, then leave the store as it stands today with its coming trips."""
    with clock.pretending(at(today - timedelta(days=539), 8)):
        check_instruments(school)
        for kit in school.kits.values():
            _fill_and_seal(school, kit)
    past = list(_past(school.chance))
    for n, going in enumerate(past):
        _play(school, going, today)
        if n % 12 == 11:
            leaves = today + timedelta(days=going.starts_in + going.days)
            with clock.pretending(at(leaves, 12)):
                _tend_stock(school)
    say(f"{len(past)} past trips")
    coming = [Going(**row) for row in PLAN["coming"]]
    with clock.pretending(at(today - timedelta(days=3), 10)):
        _tend_stock(school)
        for kit in school.kits.values():
            _fill_and_seal(school, kit)
        leave_as_found(school)
        for going in coming:
            _promise(school, going, today)
    say(f"{len(coming)} trips to come")


def _tend_stock(school: School) -> None:
    throw_out_what_went_off(school)
    resupply(school)
    check_instruments(school)


def _past(chance: random.Random) -> Iterator[Going]:
    """Some sixty trips of two seasons, each over before the next with the same kit begins."""
    plan, day = PLAN["past"], -530
    while day < -12:
        drawn, where = chance.random(), chance.choice(plan["places"])
        kind = next(each for each in plan["kinds"] if drawn < each["up_to"])
        kit = kind["kit"] + (str(chance.randint(*kind["numbers"])) if kind["numbers"] else "")
        yield Going(
            f"{kind['name']}, {where}",
            day,
            kind["days"],
            chance.randint(5, 9),
            [kind["hazard"]],
            kit,
            chance.choice(plan["guides"][kind["team"]]),
        )
        day += kind["days"] + chance.randint(4, 10)


def _fill_and_seal(school: School, kit: Kit) -> None:
    sorting.restock(school.act(), kit)
    number = sorting.next_seal_number(kit.room) or ("0400" if kit.room.slug[0] == "m" else "H070")
    # What is not in stock is sealed all the same, and stays on the restock list.
    sorting.reseal(school.act(), kit, number, anyway=True)


def _promise(school: School, going: Going, today: date) -> Trip:
    """Its trip, as the booking system has it, with its kit reserved."""
    first = today + timedelta(days=going.starts_in)
    last = first + timedelta(days=going.days - 1)
    kit, guide = school.kits[going.kit], school.people[going.guide]
    facts = TripFacts(
        name=going.name,
        room=kit.home_room,
        departs_at=at(first, going.leaves.hour, going.leaves.minute),
        returns_at=at(last, 17, 30),
        people=going.people,
        hazards=going.hazards,
        leader=guide,
    )
    reference = f"U{first:%y%m%d}-{going.kit[-2:]}{going.kit[0]}"
    trip = trips.put(school.act("Trip booking"), "bookings", reference, facts).trip
    reservations.reserve(school.act(), kit, trip, person=guide)
    return trip


def _play(school: School, going: Going, today: date) -> None:
    """One past trip: reserved, out, back with what was used, restocked and sealed."""
    first = today + timedelta(days=going.starts_in)
    guide = school.people[going.guide]
    with clock.pretending(at(first - timedelta(days=2), 9)):
        trip = _promise(school, going, today)
    with clock.pretending(at(first, 8, 40)):
        kit = find.any_kit(going.kit)
        if not readiness.verdict(kit, trip.last_day, trip).fit:
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
        for name, percent, most in PLAN["often_used"]
        if name in carried and school.chance.random() * 100 < percent
    ]
