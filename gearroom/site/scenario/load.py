"""Loading the invented school: its rooms and people, its stock, and a year and a half played day by
day through the same services that everyone uses. Loading twice changes nothing."""

import random
from collections.abc import Callable
from datetime import timedelta
from itertools import chain
from typing import Any

from django.db import transaction
from stdnum.ean import calc_check_digit

from gearroom.core import clock
from gearroom.core.acts import SYSTEM, Act
from gearroom.core.models import Room
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import people as people_service, rooms as rooms_service
from gearroom.site.scenario.advising import advise
from gearroom.site.scenario.school import (
    PLAN,
    THINGS,
    ZONE,
    School,
    at,
    receive,
    serve_needs,
    state_rates,
)
from gearroom.site.scenario.season import play_season
from kits.rules.ledger.facts import Criticality, Kind
from kits.services.kits import kits
from kits.services.labelling import labelling
from kits.services.lists import drafts, publishing, signatures
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.stock import catalogue, shelves
from kits.services.weather import locations

SEASON_DAYS = 540


def load(say: Callable[[str], None] = lambda _: None) -> School | None:
    """Load the school with its past, all of it or nothing; None where it is there already."""
    with transaction.atomic():
        is_loaded = Room.objects.filter(slug=PLAN["rooms"][0]["slug"]).exists()
        return None if is_loaded else _load(say)


def _load(say: Callable[[str], None]) -> School:
    school = School(random.Random(20))
    today = clock.today(ZONE)
    with clock.pretending(at(today - timedelta(days=SEASON_DAYS), 8)):
        _rooms_and_people(school)
        _catalogue(school)
        serve_needs(school)
        state_rates(school)
        _shelves_and_stock(school)
        _lists(school)
        _kits(school)
    say(f"{len(school.items)} items, {len(school.kits)} kits, {len(school.people)} people")
    play_season(school, today, say)
    _locations(school)
    advise(school)
    return school


def _rooms_and_people(school: School) -> None:
    act = Act(actor=SYSTEM)
    for room in PLAN["rooms"]:
        school.rooms[room["slug"]] = rooms_service.add(
            act,
            name=room["name"],
            slug=room["slug"],
            time_zone=ZONE,
            how_to_return=room["how_to_return"],
        )
    for name, somebody in PLAN["people"].items():
        home = next((slug for slug, _ in somebody["roles"] if slug), "main-store")
        person = people_service.add(
            act,
            name=name,
            phone=somebody["phone"],
            email=somebody["email"],
            home_room=school.rooms[home],
        )
        for slug, role in somebody["roles"]:
            people_service.add_role(act, person, Role(role), school.rooms.get(slug))
        if user := somebody.get("user"):
            _, school.passwords[user] = people_service.give_sign_in(act, person, user)
        school.people[name] = person


def _catalogue(school: School) -> None:
    act = school.act()
    for n, thing in enumerate(THINGS.values()):
        item = catalogue.add_item(
            act,
            name=thing.name,
            kind=Kind(thing.kind),
            needs_date=thing.shelf_life_days > 0,
            order_down_to=thing.pack if thing.pack > 1 else None,
            caution=PLAN["caution"] if thing.kind == Kind.MEDICINE else "",
            **{**PLAN["usual"], **thing.properties},
        )
        catalogue.put_pack_code(act, item, gtin=gtin(n), units_per_pack=thing.pack)
        school.items[thing.name] = item
    for name, instrument in PLAN["goes_with"]:
        school.items[name] = catalogue.edit_item(
            act, school.items[name], goes_with=school.items[instrument]
        )
    for name, instead in PLAN["instead"]:
        catalogue.put_substitute(act, school.items[name], school.items[instead])


def gtin(n: int) -> str:
    """The GTIN-13 of the n-th thing's pack, in the range that GS1 keeps for examples."""
    body = f"9501101{n:05}"
    return body + calc_check_digit(body)


def _shelves_and_stock(school: School) -> None:
    for room in PLAN["rooms"]:
        school.shelves[room["slug"]] = [
            shelves.add_shelf(school.act(), school.rooms[room["slug"]], name)
            for name in room["shelves"]
        ]
    for n, thing in enumerate(THINGS.values()):
        if thing.kind != Kind.INSTRUMENT:
            receive(school, thing.name, "main-store", 2, shelf=n)
            for slug in school.shelves:  # what was on the shelves already
                receive(school, thing.name, slug, 1, shelf=n, share_left=0.6)


def _lists(school: School) -> None:
    """Each list, published, and signed by the medical adviser for two years."""
    until = clock.today(ZONE) + timedelta(days=730)
    for plan in PLAN["lists"]:
        draft = Draft(
            plan["people"],
            plan["days"],
            plan["hazards"],
            sections=[_section(school, each) for each in plan["sections"]],
        )
        version = drafts.make_list(school.act(), name=plan["name"], draft=draft)
        version = publishing.publish(school.act(), version)
        school.versions[plan["name"]] = signatures.sign(
            school.act("Dr Nell Averis"), version, until=until
        )


def _section(school: School, plan: dict[str, Any]) -> SectionDraft:
    lines = [
        LineDraft(school.items[thing], carry, minimum, Criticality(priority), reason)
        for group in plan["lines"]
        for thing, carry, minimum, priority, reason in PLAN["lines"][group]
    ]
    return SectionDraft(plan["name"], lines, plan["key"])


def _kits(school: School) -> None:
    jo, sam = school.people["Jo Marrick"], school.people["Sam Tolland"]
    for name, list_name, slug, lives_in, bag, volume, mass in PLAN["kits"]:
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
    for shelf in chain.from_iterable(school.shelves.values()):
        labelling.label_for(school.act(), shelf)
    for person in school.people.values():
        if person.home_room is not None and person.name != "Trip booking":
            labelling.label_for(school.act(), person, person.home_room)


def _locations(school: School) -> None:
    """Where kits and shelves that are not in the gear room are kept, and the weather there."""
    for plan in PLAN["locations"]:
        room = school.rooms[plan["room"]]
        at = locations.add_location(school.act(), room, name=plan["name"], **plan["weather"])
        for name in plan["kits"]:
            school.kits[name] = kits.edit_kit(school.act(), school.kits[name], location=at)
        if "shelf" in plan:
            shelf = shelves.add_shelf(school.act(), room, plan["shelf"])
            shelves.edit_shelf(school.act(), shelf, location=at)
