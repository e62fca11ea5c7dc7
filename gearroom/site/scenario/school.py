"""The school while it is loaded: what was made, by the names that the scenario uses."""

import random
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from gearroom.core import clock
from gearroom.core.acts.act import Act, actor_of
from gearroom.core.models import Person, Room
from gearroom.site.scenario.catalogue import Thing
from kits.models import Item, Kit, PackingListVersion, Place
from kits.services.stock import receiving

ZONE = "Europe/London"


@dataclass
class School:
    """What was loaded, by the names that the scenario uses."""

    chance: random.Random
    rooms: dict[str, Room] = field(default_factory=dict)
    people: dict[str, Person] = field(default_factory=dict)
    items: dict[str, Item] = field(default_factory=dict)
    shelves: dict[str, list[Place]] = field(default_factory=dict)
    versions: dict[str, PackingListVersion] = field(default_factory=dict)
    kits: dict[str, Kit] = field(default_factory=dict)
    passwords: dict[str, str] = field(default_factory=dict)
    batch: int = 0

    def act(self, who: str = "Jo Marrick") -> Act:
        """A new act of somebody, now."""
        person = self.people[who]
        assert person.user is not None
        return Act(actor=actor_of(person.user))

    def next_batch(self, thing: Thing) -> str:
        """A maker's lot number that nobody has seen before."""
        self.batch += 1
        letters = "".join(word[0] for word in thing.name.split()[:2] if word[0].isalpha()).upper()
        return f"{letters}{2400 + self.batch}"


def receive(
    school: School,
    thing: Thing,
    slug: str,
    packs: int,
    *,
    shelf: int = 0,
    expiry: date | None = None,
    number: str | None = None,
) -> receiving.Arrival:
    """Packs of a fresh batch arrive on a shelf of a room."""
    if expiry is None and thing.shelf_life_days:
        days = int(thing.shelf_life_days * school.chance.uniform(0.75, 1.1))
        expiry = _month_end(clock.today(ZONE) + timedelta(days=days))
    units = packs * max(thing.pack, 4)
    on = school.shelves[slug]
    return receiving.receive(
        school.act(),
        item=school.items[thing.name],
        units=units,
        number=school.next_batch(thing) if number is None else number,
        expiry=expiry,
        shelf=on[shelf % len(on)],
        supplier="Fellside Medical Supplies",
        price=Decimal(thing.price) * units,
        currency="GBP",
    )


def _month_end(day: date) -> date:
    return (day.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)
