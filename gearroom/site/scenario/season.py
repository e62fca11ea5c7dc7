"""A year and a half of trips, played in order: kits go out, come back used, are restocked, sealed.

It is played through the services, with the clock set to each act's own time, so the stock book
that comes out is one that could have been written day by day. The store is kept meanwhile: fresh
batches, old ones thrown out, instruments checked, and what is left lying as any store leaves it.
"""

import random
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from decimal import Decimal

from django.db.models import Q, Sum

from gearroom.core import clock
from gearroom.site.scenario.buying import (
    break_down_bought_kits,
    order_things,
    throw_out_what_got_wet,
)
from gearroom.site.scenario.school import (
    PLAN,
    THINGS,
    ZONE,
    School,
    at,
    by_key,
    change_lists,
    receive,
    revise_lists,
)
from kits.models import Activity, AsFound, Holding, Kit, Lot, PlaceKind, Trip
from kits.rules.ledger.facts import Kind, Level
from kits.services.custody import custody
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.labelling import labelling
from kits.services.ledger import LooseLevel, readiness, verdicts
from kits.services.lookup import find
from kits.services.recalls import recalls
from kits.services.restocking import sealing, sorting
from kits.services.restocking.sealing import Closed
from kits.services.rotation.editions import old_in
from kits.services.rotation.swapping import Swapped, swap
from kits.services.stock import counting, disposing, instruments, receiving
from kits.services.stock.counting import CountLine
from kits.services.trips import reservations, trips
from kits.services.trips.trip_facts import TripFacts

NOTHING_BOUGHT_DAYS = 100
"""For so long nothing was bought, so that today there is something to order."""


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
    activity: str
    hours_to_care: str
    leaves: time = time(9)


def play_season(school: School, today: date, say: Callable[[str], None]) -> None:
    """Play the past, then leave the store as it stands today with its coming trips."""
    with clock.pretending(at(today - timedelta(days=539), 8)):
        check_instruments(school)
        break_down_bought_kits(school)
        for kit in school.kits.values():
            _fill_and_seal(school, kit)
    past = list(_past(school.chance))
    for n, going in enumerate(past):
        if n == len(past) // 2:
            with clock.pretending(at(today + timedelta(days=going.starts_in - 3), 10)):
                revise_lists(school)
        _play(school, going, today)
        if n % 12 == 11:
            leaves = today + timedelta(days=going.starts_in + going.days)
            with clock.pretending(at(leaves, 12)):
                _tend_stock(school)
                if going.starts_in < -NOTHING_BOUGHT_DAYS:
                    resupply(school)
    say(f"{len(past)} past trips")
    coming = [Going(**row) for row in PLAN["coming"]]
    with clock.pretending(at(today - timedelta(days=3), 10)):
        _tend_stock(school)
        replace_edition(school)
        for kit in school.kits.values():
            _fill_and_seal(school, kit)
        leave_as_found(school)
        throw_out_what_got_wet(school)
        for going in coming:
            _promise(school, going, today)
        change_lists(school)
        order_things(school, today)
    say(f"{len(coming)} trips to come")


def _tend_stock(school: School) -> None:
    throw_out_what_went_off(school)
    check_instruments(school)


def _past(chance: random.Random) -> Iterator[Going]:
    """Some seventy trips, each over before the next with the same kit begins."""
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
            kind["activity"],
            kind["hours_to_care"],
        )
        day += kind["days"] + chance.randint(3, 9)


def _fill_and_seal(school: School, kit: Kit) -> None:
    sorting.restock(school.act(), kit)
    number = sealing.next_seal_number(kit.room) or ("0400" if kit.room.slug[0] == "m" else "H070")
    # What is not in stock is sealed all the same, and stays on the restock list.
    said = Closed(**PLAN["sealed"].get(kit.name, {}))
    sealing.reseal(school.act(), kit, number, anyway=True, closed=said)


def _book(school: School, going: Going, today: date) -> Trip:
    """Its trip, as the booking system has it."""
    first = today + timedelta(days=going.starts_in)
    last = first + timedelta(days=going.days - 1)
    facts = TripFacts(
        name=going.name,
        room=school.kits[going.kit].home_room,
        departs_at=at(first, going.leaves.hour, going.leaves.minute),
        returns_at=at(last, 17, 30),
        people=going.people,
        hazards=going.hazards,
        leader=school.people[going.guide],
        activity=by_key(Activity)[going.activity],
        hours_to_care=Decimal(going.hours_to_care),
    )
    reference = f"U{first:%y%m%d}-{going.kit[-2:]}{going.kit[0]}"
    return trips.put(school.act("Trip booking"), "bookings", reference, facts).trip


def _promise(school: School, going: Going, today: date) -> None:
    """A trip to come, with its kit reserved."""
    trip = _book(school, going, today)
    reservations.reserve(
        school.act(), school.kits[going.kit], trip, person=school.people[going.guide]
    )


def _play(school: School, going: Going, today: date) -> None:
    """One past trip: out, back with what was used and what was not there, restocked and sealed;
    now and then nobody counts."""
    first = today + timedelta(days=going.starts_in)
    guide = school.people[going.guide]
    with clock.pretending(at(first - timedelta(days=2), 9)):
        trip = _book(school, going, today)
    with clock.pretending(at(first, 8, 40)):
        kit = find.any_kit(going.kit)
        if not verdicts.verdict(kit, trip.last_day, trip).fit:
            _fill_and_seal(school, kit)
        custody.check_out(
            school.act(), kit, person=guide, trip=trip, short_reason="nothing better is here"
        )
    with clock.pretending(trip.returns_at + timedelta(minutes=20)):
        kit = find.any_kit(going.kit)
        used, needed = _wanted(school, going, kit)
        if not used:
            as_found = AsFound.CLOSED if needed else AsFound.SEALED
            custody.check_in(school.act(), kit, as_found=as_found, remarks=Remarks(needed=needed))
            return
        if school.chance.random() < PLAN["past"]["nobody_counts"]:
            custody.check_in(school.act(), kit, as_found=AsFound.SORT_LATER)
        else:
            main = find.section(kit, "")
            plasters = school.items["plasters, assorted"]
            levels = [LooseLevel(main, plasters, Level.LOW)] if school.chance.random() < 0.3 else []
            custody.check_in(
                school.act(),
                kit,
                as_found=AsFound.OPENED,
                used=used,
                levels=levels,
                remarks=Remarks(needed=needed),
            )
    with clock.pretending(trip.returns_at + timedelta(hours=2)):
        _fill_and_seal(school, find.any_kit(going.kit))


def _wanted(school: School, going: Going, kit: Kit) -> tuple[list[UseLine], list[NeedLine]]:
    """What a trip used of what its kit carries, and what it needed and did not find in it."""
    carried: Counter[str] = Counter()
    for each in readiness.states([kit.pk])[kit.pk].units:
        carried[each.batch.thing.name] += each.count
    days = going.people * going.days
    used, needed = [], []
    for row in PLAN["wanted"]:
        item = school.items[row["thing"]]
        bad_day = 3.0 if school.chance.random() < 0.2 else 0.5
        per_day = bad_day * row["per_1000"] * row.get("in", {}).get(going.activity, 1) / 1000
        wanted = row.get("units", 1) * _poisson(school.chance, per_day * days)
        if taken := min(wanted, carried[item.name]):
            used.append(UseLine(item, taken))
        if wanted > taken:
            needed.append(NeedLine(item))
    if school.chance.random() < 0.05:
        needed.append(NeedLine(words=school.chance.choice(PLAN["past"]["other_needs"])))
    return used, needed


def _poisson(chance: random.Random, mean: float) -> int:
    """How often something with a mean comes up: so many waits fit into it."""
    count, wait = 0, chance.expovariate(1)
    while wait < mean:
        count, wait = count + 1, wait + chance.expovariate(1)
    return count


# ------------------------------------------------------------------------------------- the store
def resupply(school: School) -> None:
    """Order in whatever is down to two packs, in the hut to one, on the shelves of a room."""
    today = clock.today(ZONE)
    lasting = (
        Holding.objects.filter(place__kind=PlaceKind.SHELF)
        .exclude(lot__expiry__lt=today + timedelta(days=90))
        .values("lot__item__name", "place__room__slug")
        .annotate(units=Sum("units"))
    )
    held = {(row["lot__item__name"], row["place__room__slug"]): row["units"] for row in lasting}
    for n, thing in enumerate(THINGS.values()):
        for slug, packs in (("main-store", 2), ("cave-hut", 1)):
            few = held.get((thing.name, slug), 0) <= packs * max(thing.pack, 4)
            if few and thing.kind != Kind.INSTRUMENT:
                receive(school, thing.name, slug, packs, shelf=n)


def throw_out_what_went_off(school: School) -> None:
    """Throw out what went out of date on the shelves, each thing into its own bin."""
    today = clock.today(ZONE)
    for holding in (
        Holding.objects.on_hand()
        .filter(place__kind=PlaceKind.SHELF, lot__expiry__lt=today)
        .select_related("lot__item", "place__room")
    ):
        disposing.dispose(
            school.act(),
            place=holding.place,
            lot=holding.lot,
            units=holding.units,
        )


def check_instruments(school: School) -> None:
    """Buy instruments for the kits that carry them, and check each one that is due."""
    wanted = (("head torch", 5), ("digital thermometer", 5), ("oxygen cylinder, small", 1))
    for name, count in wanted:
        item = school.items[name]
        for n in range(Lot.objects.filter(item=item).count(), count):
            slug = "cave-hut" if n == count - 1 and count > 1 else "main-store"
            receiving.receive(
                school.act(),
                item=item,
                units=1,
                serial=f"{name[0].upper()}{1001 + n}",
                shelf=school.shelves[slug][0],
                supplier="Fellside Medical Supplies",
                price=Decimal(THINGS[name].price),
                currency="GBP",
            )
        today = clock.today(ZONE)
        for lot in Lot.objects.filter(item=item).select_related("item"):
            last = lot.checks.order_by("-id").first()
            if last is None or last.due_on is None or last.due_on < today + timedelta(days=120):
                instruments.check(school.act(), lot, passed=True, answer="yes")


def replace_edition(school: School) -> None:
    """A new edition of a document comes and replaces the one before, which is thrown out: in every
    kit but one, and on the shelves. What came with bought kits without a number goes too."""
    new = PLAN["new_edition"]
    valid_until = clock.today(ZONE) + timedelta(days=new["days"])
    for slug, packs in new["packs"].items():
        receive(school, new["thing"], slug, packs, expiry=valid_until, number=new["number"])
    for row in old_in(Kit.objects.active().select_related("room")):
        if row.shelf is not None and row.kit.name != new["left_in"]:
            one = Swapped(row.lot, row.current, row.section, row.shelf, row.units)
            swap(school.act(), row.kit, [one])
    old = Holding.objects.on_hand().filter(
        Q(place__kind=PlaceKind.QUARANTINE)
        | Q(place__kind=PlaceKind.SHELF, lot__item__name=new["thing"]),
        lot__item__kind=Kind.DOCUMENT,
    )
    for holding in old.exclude(lot__number=new["number"]).select_related("lot__item", "place"):
        act = replace(school.act(), reason="a new edition has replaced it")
        disposing.dispose(act, place=holding.place, lot=holding.lot, units=holding.units)


def leave_as_found(school: School) -> None:
    """What makes today's store a believable one: something out of date on a shelf, something
    without a date, something recalled, and a kit whose eye wash ends before its trip."""
    today = clock.today(ZONE)
    receive(school, "eye pad", "main-store", 1, shelf=3, expiry=today - timedelta(days=1))
    receive(
        school,
        "burn gel dressing 10 × 10 cm",
        "main-store",
        1,
        shelf=3,
        expiry=today + timedelta(days=40),
    )
    undated = receiving.receive(
        school.act(),
        item=school.items["skin closure strips"],
        units=6,
        number="",
        expiry=None,
        shelf=school.shelves["main-store"][2],
    )
    labelling.label_for(school.act(), undated.lot, school.rooms["main-store"])
    recalled = receive(school, "antiseptic wipes", "main-store", 1, shelf=4, number="AW77R")
    recalls.start(
        school.act(),
        item=school.items["antiseptic wipes"],
        scope="number",
        number=recalled.lot.number,
        reference="FSN-0031",
        advice="Do not use; the maker found packs that were not sealed.",
    )
    _short_dated_eye_wash(school)
    for lot in Lot.objects.filter(holdings__place__kind=PlaceKind.SHELF, holdings__units__gt=0):
        if labelling.live(lot) is None:
            labelling.label_for(school.act(), lot, school.rooms["main-store"])


def _short_dated_eye_wash(school: School) -> None:
    """DAY-04 carries eye wash that ends tomorrow: a count found it so."""
    eye_wash = school.items["eye wash 20 ml"]
    old = receive(
        school,
        "eye wash 20 ml",
        "main-store",
        1,
        shelf=5,
        expiry=clock.today(ZONE) + timedelta(days=4),
        number="EW2207",
    )
    main = find.section(find.any_kit("DAY-04"), "main")
    inside = Holding.objects.on_hand().filter(place=main).select_related("lot__item")
    result = [CountLine(main, h.units, lot=h.lot) for h in inside if h.lot.item_id != eye_wash.pk]
    result.append(CountLine(main, 2, lot=old.lot))
    counting.count(school.act(), [main], result, complete=True)
