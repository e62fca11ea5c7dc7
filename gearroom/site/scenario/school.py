"""The school while it is loaded: what it is made of, and what was made by the names that the
scenario uses."""

import random
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from gearroom.core import clock
from gearroom.core.acts import Act, actor_of
from gearroom.core.models import Person, Room
from kits.models import Activity, Item, Kit, Need, PackingListVersion, Place
from kits.services.stock import receiving

ZONE = "Europe/London"

PLAN: Mapping[str, Any] = tomllib.loads(
    Path(__file__).with_name("school.toml").read_text(encoding="utf-8")
)
"""What the school is made of."""


@dataclass(frozen=True)
class Thing:
    """A thing of the catalogue: `pack` is units a pack, `shelf_life_days` a typical one (0: needs
    no date), `price` a unit's, `properties` those of the item (see `catalogue.ItemFacts`)."""

    name: str
    kind: str
    properties: Mapping[str, Any]
    pack: int = 1
    shelf_life_days: int = 0
    price: str = "0.40"


THINGS = {row["name"]: Thing(**row) for row in PLAN["things"]}


Keyed = TypeVar("Keyed", Need, Activity)


def by_key(of: type[Keyed]) -> dict[str, Keyed]:
    """All needs, or activities, by their keys."""
    return {each.key: each for each in of._default_manager.all()}


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
        """A new act of somebody, now. Raises ValueError for whoever has no sign-in."""
        user = self.people[who].user
        if user is None:
            raise ValueError(f"{who} has no sign-in")
        return Act(actor=actor_of(user))

    def next_batch(self, thing: Thing) -> str:
        """A maker's lot number that nobody has seen before."""
        self.batch += 1
        letters = "".join(word[0] for word in thing.name.split()[:2] if word[0].isalpha()).upper()
        return f"{letters}{2400 + self.batch}"


def at(day: date, hour: int, minute: int = 0) -> datetime:
    """An instant by the school's clock."""
    return datetime.combine(day, time(hour, minute), ZoneInfo(ZONE))


def receive(
    school: School,
    name: str,
    slug: str,
    packs: int,
    *,
    shelf: int = 0,
    expiry: date | None = None,
    number: str | None = None,
    share_left: float = 1.0,
) -> receiving.Arrival:
    """Packs of a batch arrive on a shelf of a room, with so much of their usual life left."""
    thing, on = THINGS[name], school.shelves[slug]
    if expiry is None and thing.shelf_life_days:
        days = int(thing.shelf_life_days * share_left * school.chance.uniform(0.75, 1.1))
        expiry = _month_end(clock.today(ZONE) + timedelta(days=days))
    units = packs * max(thing.pack, 4)
    return receiving.receive(
        school.act(),
        item=school.items[name],
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
