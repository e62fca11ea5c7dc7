"""Loading the invented school: its rooms and people, its stock, and two seasons played day by day
through the same services that everyone uses. Loading twice changes nothing."""

import random
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from stdnum.ean import calc_check_digit

from gearroom.core import clock
from gearroom.core.acts.act import SYSTEM, Act
from gearroom.core.models import Room
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import people as people_service, rooms as rooms_service
from gearroom.site.scenario.catalogue import CAUTION, INSTEAD, THINGS
from gearroom.site.scenario.lists import KITS, LISTS, KitList
from gearroom.site.scenario.people import PEOPLE, ROOMS
from gearroom.site.scenario.school import ZONE, School, receive
from gearroom.site.scenario.season import play_season
from kits.models import PackingListVersion
from kits.rules.ledger.facts import Kind
from kits.services.kits import kits
from kits.services.labelling import labelling
from kits.services.lists import packing_lists
from kits.services.lists.packing_lists import Draft, LineDraft, SectionDraft
from kits.services.stock import catalogue, shelves

SEASON_DAYS = 540
SHELVES = {"main-store": ("A1", "A2", "B1", "B2", "C1", "C2"), "cave-hut": ("H1", "H2")}


def is_loaded() -> bool:
    """Whether the school is there already."""
    return Room.objects.filter(slug=ROOMS[0][0]).exists()


def load(say: Callable[[str], None] = lambda _: None) -> School | None:
    """Load the school with its past, all of it or nothing; None where it is there already."""
    with transaction.atomic():
        return None if is_loaded() else _load(say)


def _load(say: Callable[[str], None]) -> School:
    school = School(random.Random(20))
    today = clock.today(ZONE)
    with clock.pretending(_at(today - timedelta(days=SEASON_DAYS), 8)):
        _rooms_and_people(school)
        _catalogue(school)
        _shelves_and_stock(school)
        _lists(school)
        _kits(school)
    say(f"{len(school.items)} things, {len(school.kits)} kits, {len(school.people)} people")
    play_season(school, THINGS, today, say)
    return school


def _at(day: date, hour: int) -> datetime:
    return datetime.combine(day, time(hour), ZoneInfo(ZONE))


def _rooms_and_people(school: School) -> None:
    act = Act(actor=SYSTEM)
    for slug, name, how_to_return in ROOMS:
        school.rooms[slug] = rooms_service.add(
            act, name=name, slug=slug, time_zone=ZONE, how_to_return=how_to_return
        )
    for somebody in PEOPLE:
        home = next((school.rooms[room] for room, _ in somebody.roles if room), None)
        person = people_service.add(
            act,
            name=somebody.name,
            phone=somebody.phone,
            email=somebody.email,
            home_room=home or school.rooms["main-store"],
        )
        for room, role in somebody.roles:
            people_service.add_role(act, person, Role(role), school.rooms[room] if room else None)
        if somebody.user:
            _, password = people_service.give_sign_in(act, person, somebody.user)
            school.passwords[somebody.user] = password
        school.people[somebody.name] = person


def _catalogue(school: School) -> None:
    act = school.act()
    for n, thing in enumerate(THINGS):
        item = catalogue.add_item(
            act,
            name=thing.name,
            kind=thing.kind,
            base_unit=thing.unit,
            needs_date=thing.shelf_life_days > 0,
            sterile=thing.sterile,
            by_eye=thing.by_eye,
            latex=thing.latex,
            child=thing.child,
            min_temp_c=thing.min_c,
            max_temp_c=thing.max_c,
            opened_life_days=thing.opened_life_days,
            check_every_days=thing.check_every_days,
            check_question=thing.question,
            disposal=thing.disposal,
            volume_ml=thing.ml,
            mass_g=thing.g,
            order_down_to=thing.pack if thing.pack > 1 else None,
            caution=CAUTION if thing.kind == Kind.MEDICINE else "",
        )
        catalogue.put_pack_code(act, item, gtin=gtin(n), units_per_pack=thing.pack)
        school.items[thing.name] = item
    for name, instead in INSTEAD:
        catalogue.put_substitute(act, school.items[name], school.items[instead])


def gtin(n: int) -> str:
    """The GTIN-13 of the n-th thing's pack, in the range that GS1 keeps for examples."""
    body = f"9501101{n:05}"
    return body + calc_check_digit(body)


def _shelves_and_stock(school: School) -> None:
    for slug, names in SHELVES.items():
        school.shelves[slug] = [
            shelves.add_shelf(school.act(), school.rooms[slug], name) for name in names
        ]
    for n, thing in enumerate(THINGS):
        if thing.kind != Kind.INSTRUMENT:
            for slug, packs in (("main-store", 3), ("cave-hut", 1)):
                receive(school, thing, slug, packs, shelf=n)


def _lists(school: School) -> None:
    for wanted in LISTS:
        version = packing_lists.make_list(
            school.act(), name=wanted.name, draft=_draft(school, wanted)
        )
        version = packing_lists.publish(school.act(), version)
        school.versions[wanted.name] = sign(school, version)


def sign(school: School, version: PackingListVersion) -> PackingListVersion:
    """The medical adviser signs a list for two years."""
    until = clock.today(ZONE) + timedelta(days=730)
    return packing_lists.sign(school.act("Dr Nell Averis"), version, until=until)


def _draft(school: School, wanted: KitList) -> Draft:
    return Draft(
        people=wanted.people,
        days=wanted.days,
        hazards=wanted.hazards,
        sections=tuple(
            SectionDraft(
                name,
                tuple(
                    LineDraft(
                        school.items[row.thing],
                        row.carry,
                        row.never_below,
                        row.criticality,
                        row.reason,
                    )
                    for row in rows
                ),
                key,
            )
            for key, name, rows in wanted.sections
        ),
    )


def _kits(school: School) -> None:
    jo, sam = school.people["Jo Marrick"], school.people["Sam Tolland"]
    for name, list_name, slug, lives_in, bag, volume, mass in KITS:
        responsible, deputy = (sam, jo) if slug == "cave-hut" else (jo, sam)
        school.kits[name] = kits.add_kit(
            school.act(),
            name=name,
            list_version=school.versions[list_name],
            home_room=school.rooms[slug],
            lives_in=lives_in,
            bag=bag,
            bag_volume_ml=volume,
            bag_mass_limit_g=mass,
            responsible=responsible,
            deputy=deputy,
        )
    for kit in school.kits.values():
        labelling.label_for(school.act(), kit)
    for on in school.shelves.values():
        for shelf in on:
            labelling.label_for(school.act(), shelf)
    for person in school.people.values():
        if person.home_room is not None and person.name != "Trip booking":
            labelling.label_for(school.act(), person, person.home_room)
