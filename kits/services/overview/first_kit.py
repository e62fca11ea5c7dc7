"""The first kit, written down in one go: its list, its items, what is in it; and what the first
hour gives back."""

import tomllib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from django.db import transaction
from django.utils.translation import get_language, gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused
from gearroom.core.models import Room
from kits.models import Holding, Item, Kit, PackCode, PackingList
from kits.rules.ledger import Criticality, Kind
from kits.rules.overview import first_kit as rules
from kits.rules.overview.first_kit import KnownItem, Names, Question, TypedRow
from kits.rules.overview.workbook import fold
from kits.services.ledger import verdicts
from kits.services.overview import onboarding
from kits.services.planning.plans import purchases
from kits.services.restocking import sorting
from kits.services.stock import catalogue

SOON_DAYS = 183


def example() -> list[TypedRow]:
    """The example list in the language of the page, with nothing counted yet."""
    language = "de" if (get_language() or "").startswith("de") else "en"
    data = _example()
    units = data["units"].get(language, {})
    return [
        TypedRow(
            name=row[language],
            carry=str(row["carry"]),
            kind=Kind(row["kind"]),
            matters=Criticality(row["matters"]),
            sterile=row["sterile"],
            undated=not row["dated"],
            unit=units.get(row["unit"], row["unit"]),
        )
        for row in data["rows"]
    ]


@cache
def _example() -> dict[str, Any]:
    path = Path(__file__).with_name("example_kit.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))


def free_kit_name(like: str) -> str:
    """`like`, or the next name of that kind that no kit in use has."""
    names = Kit.objects.active().values_list("name", flat=True)
    return rules.free_name(like, {fold(name) for name in names})


def free_list_name(like: str) -> str:
    """`like`, or the next name of that kind that no kit list has."""
    names = PackingList.objects.values_list("name", flat=True)
    return rules.free_name(like, {fold(name) for name in names})


def known_items() -> dict[str, KnownItem]:
    """The items on record, by folded name."""
    return {
        fold(item.name): KnownItem(Kind(item.kind), item.sterile, item.needs_date, item.by_eye)
        for item in Item.objects.active()
    }


def questions(room: Room, rows: Sequence[TypedRow]) -> list[Question]:
    """What the rows leave open."""
    return rules.questions(rows, known_items(), clock.today(room.time_zone))


@transaction.atomic
def add(act: Act, room: Room, names: Names, rows: Sequence[TypedRow]) -> Kit:
    """Add the kit with its list, its items and what is in it. Raises Invalid where a row leaves
    something open, Refused (`name-taken`), and what the acts behind it raise."""
    if not any(not row.left_out for row in rows):
        raise Invalid(_("Enter at least one item."), field="name-0")
    if questions(room, rows):
        raise Invalid(_("Some rows are not complete. Answer the questions shown there."))
    if PackingList.objects.filter(name__iexact=names.list).exists():
        raise Refused(
            "name-taken",
            _("There is already a kit list called “%(name)s”. Choose another name.")
            % {"name": names.list},
        )
    plan = rules.plan(rows, known_items(), names, clock.today(room.time_zone))
    onboarding.begin(act, room, plan)
    _keep_codes(act, rows)
    return Kit.objects.get(name__iexact=names.kit, retired_on=None)


def _keep_codes(act: Act, rows: Sequence[TypedRow]) -> None:
    """Makers' codes of items that were on record before."""
    for row in rows:
        if not row.gtin or row.left_out or PackCode.objects.filter(gtin=row.gtin).exists():
            continue
        item = Item.objects.get(name__iexact=row.name)
        catalogue.put_pack_code(
            act, item, gtin=row.gtin, units_per_pack=rules.counted(row.pack) or 1
        )


# ------------------------------------------------------------------------ what it gives back
@dataclass(frozen=True)
class Lack:
    """What a kit lacks to what its list carries: units of an item."""

    item: Item
    units: int
    below_minimum: bool


@dataclass(frozen=True)
class GoesOutOfDate:
    """Units in a kit that go out of date by a day: what they cost, by currency, and how many
    `units` there are of which `unpriced` have no price on record; names of the items, soonest
    first."""

    by: date
    units: int
    unpriced: int
    money: dict[str, Decimal]
    items: Sequence[str]


@dataclass(frozen=True)
class FirstHour:
    """How a kit stands, what is in it by batch, what to buy for it, and what of it goes out of date
    soon."""

    kit: Kit
    judged: verdicts.Judged
    contents: Sequence[Holding]
    lacks: Sequence[Lack]
    outdated: GoesOutOfDate


def first_hour(kit: Kit) -> FirstHour:
    """What is known of a kit once it was written down."""
    plan = sorting.restock_list(kit)
    items = Item.objects.in_bulk([row.thing.id for row in plan.list.missing])
    lacks = [Lack(items[row.thing.id], row.count, row.below_minimum) for row in plan.list.missing]
    return FirstHour(kit, verdicts.judged_one(kit), _contents(kit), lacks, _outdated(kit))


def _contents(kit: Kit) -> list[Holding]:
    return list(
        Holding.objects.on_hand()
        .filter(place__kit=kit)
        .select_related("lot__item")
        .order_by("lot__item__name", "lot__expiry")
    )


def _outdated(kit: Kit) -> GoesOutOfDate:
    by = _month_end(clock.today(kit.home_room.time_zone) + timedelta(days=SOON_DAYS))
    held = list(
        Holding.objects.on_hand()
        .filter(place__kit=kit, lot__expiry__lte=by)
        .select_related("lot__item")
        .order_by("lot__expiry", "lot__item__name")
    )
    bought = purchases({row.lot.item_id for row in held})
    money: dict[str, Decimal] = defaultdict(Decimal)
    unpriced = 0
    for row in held:
        purchase = bought.get(row.lot.item_id)
        if purchase is None or purchase.price is None:
            unpriced += row.units
        else:
            money[purchase.currency] += purchase.price * row.units
    names = list(dict.fromkeys(row.lot.item.name for row in held))
    return GoesOutOfDate(by, sum(row.units for row in held), unpriced, dict(money), names)


def _month_end(day: date) -> date:
    first = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
    return first - timedelta(days=1)
