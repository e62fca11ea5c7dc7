"""The school while it is loaded: what it is made of, what was made by the names that the scenario
uses, and what it has decided: what its things are for, how often its adviser believes that needs
come up, and the second version of each kit list, with what it leaves out and why."""

import random
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from gearroom.core import clock
from gearroom.core.acts import Act, actor_of
from gearroom.core.models import Person, Room
from kits.models import (
    Activity,
    Item,
    Kit,
    Need,
    PackingListVersion,
    Place,
    What,
    WhyNotCarried,
)
from kits.rules.ledger.facts import Criticality, Kind
from kits.services.kits import kits
from kits.services.lists import drafts, list_changes, publishing, signatures
from kits.services.lists.drafts import Draft, LineDraft
from kits.services.lists.list_changes import Amount, ChangeDraft, SourceDraft
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft
from kits.services.planning import vocabulary
from kits.services.planning.records import priors
from kits.services.stock import catalogue, receiving

ZONE = "Europe/London"

PLAN: Mapping[str, Any] = tomllib.loads(
    Path(__file__).with_name("school.toml").read_text(encoding="utf-8")
)
"""What the school is made of."""


@dataclass(frozen=True)
class Thing:
    """A thing of the catalogue: `pack` is units a pack, `shelf_life_days` a typical one (0: needs
    no date), `price` a unit's, `edition` a document's, `properties` those of the item (see
    `catalogue.ItemFacts`)."""

    name: str
    kind: str
    properties: Mapping[str, Any]
    pack: int = 1
    shelf_life_days: int = 0
    price: str = "0.40"
    edition: str = ""


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
        if (user := self.people[who].user) is None:
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
        number=number or thing.edition or school.next_batch(thing),
        expiry=expiry,
        shelf=on[shelf % len(on)],
        supplier="Fellside Medical Supplies",
        price=Decimal(thing.price) * units,
        currency="GBP",
    )


def _month_end(day: date) -> date:
    return (day.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)


# ------------------------------------------------------------------------------ what it has decided
ADVISER = "Dr Nell Averis"


def serve_needs(school: School) -> None:
    """What each thing is for, some of it in the school's own words."""
    for row in PLAN["needs"]:
        vocabulary.add_need(school.act(), **row)
    needs = by_key(Need)
    for name, rows in PLAN["serves"].items():
        for key, best, units, *training in rows:
            vocabulary.put_serves(
                school.act(),
                school.items[name],
                needs[key],
                best=best,
                units_per_use=units,
                needs_training=bool(training),
            )


def state_rates(school: School) -> None:
    """How often the adviser believes that needs come up, or a study found."""
    needs, activities = by_key(Need), by_key(Activity)
    for row in PLAN["stated"]:
        priors.state(
            school.act(ADVISER),
            needs[row["need"]],
            activities[row["activity"]] if "activity" in row else None,
            per_1000=Decimal(row["per_1000"]) if "per_1000" in row else None,
            study=row.get("study", ""),
            note=row["note"],
        )


def revise_lists(school: School) -> None:
    """Publish the second version of each list, have it signed, and let all kits follow it."""
    until = clock.today(ZONE) + timedelta(days=730)
    for plan in PLAN["lists"]:
        draft = drafts.new_draft(school.act(), school.versions[plan["name"]].packing_list)
        draft = drafts.edit_draft(school.act(), draft, _revised(school, draft, plan))
        draft = publishing.publish(school.act(), draft)
        signed = signatures.sign(school.act(ADVISER), draft, until=until)
        school.versions[plan["name"]] = signed
        for kit in school.kits.values():
            if kit.list_version.packing_list_id == signed.packing_list_id:
                kits.follow_list(school.act(), kit, signed)


def change_lists(school: School) -> None:
    """Changes to several lists at once, each in their drafts: with sources for and against."""
    today: date = clock.today(ZONE)
    for row in PLAN["list_changes"]:
        item = school.items[row["item"]] = catalogue.add_item(
            school.act(), name=row["item"], kind=Kind.CONSUMABLE, **row["properties"]
        )
        list_changes.make(
            school.act(ADVISER),
            ChangeDraft(
                What.ADD,
                item,
                row["claim"],
                today + timedelta(days=row["again_in"]),
                list(list_changes.carrying(school.items[row["beside"]])),
                [SourceDraft(**source) for source in row["sources"]],
                amount=Amount(row["carry"]),
            ),
        )


def _revised(school: School, version: PackingListVersion, plan: dict[str, Any]) -> Draft:
    """A version with other quantities, each with its reason, and lines not carried."""
    changes = {row["thing"]: row for row in plan["changes"]}
    draft = drafts.draft_of(version)
    return replace(
        draft,
        sections=[
            replace(section, lines=[_line(line, changes) for line in section.lines])
            for section in draft.sections
        ],
        not_carried=[_not_carried(school, row) for row in plan["not_carried"]],
    )


def _line(line: LineDraft, changes: dict[str, Any]) -> LineDraft:
    if (change := changes.get(line.item.name)) is None:
        return line
    return replace(
        line,
        carry=change["carry"],
        never_below=change.get("minimum", line.never_below),
        criticality=Criticality(change.get("priority", line.criticality)),
        reason=change["reason"],
    )


def _not_carried(school: School, row: dict[str, Any]) -> NotCarriedDraft:
    today: date = clock.today(ZONE)
    hours = row.get("from_hours_to_care")
    return NotCarriedDraft(
        why=WhyNotCarried(row["why"]),
        item=school.items[row["item"]] if "item" in row else None,
        need=by_key(Need)[row["need"]] if "need" in row else None,
        words=row.get("words", ""),
        instead=row["instead"],
        when=CarriedWhen(
            tuple(row.get("hazards", ())),
            tuple(row.get("activities", ())),
            None if hours is None else Decimal(hours),
        ),
        trained=row.get("trained", ""),
        decided_by=school.people[ADVISER],
        decided_on=today,
        look_again_on=today + timedelta(days=row["again_in"]) if "again_in" in row else None,
        look_again_after=row.get("again_after", ""),
    )
