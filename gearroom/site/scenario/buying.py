"""What the invented school buys: what is offered by whom at which price, filled kits that were
broken down, and orders on their way."""

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from gearroom.core import clock
from gearroom.site.scenario.school import ZONE, School, at
from kits.models import FilledKit, Holding, Supplier
from kits.rules.buying.bought_kit import Fate
from kits.rules.ledger.facts import Kind
from kits.services.buying import drafting, filled_kits, ordering
from kits.services.buying.bought_kits import Content
from kits.services.restocking import building
from kits.services.restocking.building import BoughtItem
from kits.services.stock import catalogue, disposing, offers, receiving
from kits.services.stock.disposing import Outgoing
from kits.services.stock.offers import PackPrice

PLAN: Mapping[str, Any] = tomllib.loads(
    Path(__file__).with_name("buying.toml").read_text(encoding="utf-8")
)
ROOM = "main-store"
PLANNED_DAYS = 63


def break_down_bought_kits(school: School) -> None:
    """Buy filled kits and break them down, each into a kit of the school's that is still empty."""
    for row in PLAN["items"]:
        school.items[row["name"]] = catalogue.add_item(
            school.act(), name=row["name"], kind=Kind.CONSUMABLE, **row["properties"]
        )
    for row in PLAN["filled"]:
        filled = filled_kits.add(
            school.act(),
            school.rooms[ROOM],
            name=row["name"],
            price=Decimal(row["price"]),
            currency=PLAN["currency"],
            supplier=row["supplier"],
            contents=[Content(name, school.items[name], units) for name, units in row["lines"]],
        )
        for kit in row.get("into", ()):
            _break_down(school, kit, filled, row)


def _break_down(school: School, kit: str, filled: FilledKit, row: Mapping[str, Any]) -> None:
    things = [
        thing
        for name, units in row["lines"]
        for thing in _things(school, name, units, row["not_kept"].get(name), row["lasts"])
    ]
    building.strip(
        school.act(),
        school.kits[kit],
        things,
        supplier=row["supplier"],
        price=filled.price,
        currency=filled.currency,
        minutes=row["minutes"],
        filled=filled.pk,
    )


def _things(
    school: School, name: str, units: int, not_kept: tuple[int, str, str] | None, lasts: int
) -> list[BoughtItem]:
    """What becomes of one of its lines: part of it kept, part of it not."""
    item = school.items[name]
    expiry = clock.today(ZONE) + timedelta(days=lasts) if item.needs_date else None
    other, fate, reason = not_kept or (0, Fate.KEEP, "")
    rows = [(units - other, Fate.KEEP, ""), (other, Fate(fate), reason)]
    return [
        BoughtItem(
            item,
            count,
            which,
            why,
            expiry=expiry if which in (Fate.KEEP, Fate.SHELF) else None,
            shelf=school.shelves[ROOM][0] if which is Fate.SHELF else None,
        )
        for count, which, why in rows
        if count
    ]


def order_things(school: School, today: date) -> None:
    """State what is offered, and place the orders that are on their way: one of them late, of which
    a part has arrived."""
    with clock.pretending(at(today - timedelta(days=PLAN["prices_since"]), 15)):
        suppliers = {row["name"]: _supplier(school, row) for row in PLAN["suppliers"]}
        for name, rows in PLAN["offers"].items():
            for thing, units, prices in rows:
                _offer(school, suppliers[name], thing, units, prices)
    for row in PLAN["orders"]:
        _order(school, row, today)


def throw_out_what_got_wet(school: School) -> None:
    """Throw out most of what lay on one shelf."""
    leak = PLAN["leak"]
    rows = [
        Outgoing(holding.place, holding.lot, holding.units - leak["left"])
        for holding in Holding.objects.on_hand().filter(place__name=leak["shelf"])
        if holding.units > leak["left"]
    ]
    disposing.dispose_all(replace(school.act(), reason=leak["reason"]), school.rooms[ROOM], rows)


def _supplier(school: School, row: Mapping[str, Any]) -> Supplier:
    supplier = offers.add_supplier(school.act(), row["name"])
    for written in row.get("written", ()):
        offers.match_name(school.act(), written, supplier)
    offers.state_terms(
        school.act(),
        supplier,
        currency=PLAN["currency"],
        delivery=Decimal(row["delivery"]),
        free_from=Decimal(row["free_from"]),
        least_order=Decimal(row.get("least_order", 0)),
    )
    return supplier


def _offer(
    school: School, supplier: Supplier, thing: str, units: int, prices: list[tuple[int, str]]
) -> None:
    offers.state_offer(
        school.act(),
        item=school.items[thing],
        supplier=supplier,
        units=units,
        prices=[PackPrice(packs, Decimal(each)) for packs, each in prices],
        currency=PLAN["currency"],
    )


def _order(school: School, row: Mapping[str, Any], today: date) -> None:
    room, ordered = school.rooms[ROOM], today - timedelta(days=row["ordered"])
    offered = {
        offer.item.name: offer for offer in offers.in_force().filter(supplier__name=row["supplier"])
    }
    with clock.pretending(at(ordered, 16)):
        (draft,) = drafting.draft(
            school.act(),
            room,
            packs={offered[thing].pk: packs for thing, packs in row["packs"].items()},
            through=ordered + timedelta(days=PLANNED_DAYS),
            currency=PLAN["currency"],
        )
        expected = today - timedelta(days=row["expected"])
        order = ordering.place(school.act(), draft.order, expected_on=expected).order
    for thing, packs in row.get("arrived", {}).items():
        receiving.receive(
            school.act(),
            item=school.items[thing],
            units=packs * offered[thing].units,
            number="NG5512",
            expiry=today + timedelta(days=1400),
            shelf=school.shelves[ROOM][1],
            order=order,
        )
