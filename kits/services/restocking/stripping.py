"""How far a bought kit is taken apart: what came in it and where that went, what remains to be
added, and what it has cost until now.

A kit is stripped line by line, each line an entry of its own (`building.strip`), so that nothing
waits to be written and a slip is undone alone. Those since the kit was last taken out belong
together.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Max, QuerySet, Sum

from gearroom.core.rules.grouping import grouped
from kits.models import (
    Entry,
    EntryKind,
    Holding,
    Item,
    Kit,
    LevelFact,
    Lot,
    Movement,
    Place,
    Receipt,
    Substitute,
)
from kits.models.details import StripDetail, StripLine
from kits.rules.buying.bought_kit import Fate
from kits.rules.ledger import Batch, may_be_put_in
from kits.services.ledger import readiness
from kits.services.restocking import building
from kits.services.restocking.building import Shortage
from kits.services.text import buying_texts


@dataclass(frozen=True)
class StrippedItem:
    """Units of an item that came in a bought kit, and where they went; what is loose has a
    `level` in place of units and a batch."""

    entry: Entry
    item: Item
    place: Place
    units: int = 0
    lot: Lot | None = None
    level: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Cost:
    """What was spent in one currency: on the bought kit as a whole, where that is known, else on
    its items one by one. `with_rest` adds what is wanted at the last prices paid, in the currency
    of `Progress`; in any other it is the same."""

    currency: str
    spent: Decimal
    with_rest: Decimal


@dataclass(frozen=True)
class Progress:
    """All that came in it until now, in order, and what the kit's list still wants.

    `costs`: one for each currency that a price is in, by its code; `currency`: that of the
    whole, else the latest one, in which `wanted` is priced. `unpriced` of the wanted have no
    known price in it.
    """

    came: Sequence[StrippedItem]
    supplier: str
    costs: Sequence[Cost]
    currency: str
    wanted: Sequence[Shortage]
    unpriced: Sequence[Item]


def progress(kit: Kit) -> Progress:
    """How far a kit is stripped; seven queries and those of `building.shortages`."""
    entries = list(_entries(kit))
    details = [entry.detail_as(StripDetail) for entry in entries]
    priced = [detail for detail in details if detail.get("currency")]
    whole = [detail for detail in priced if detail.get("price") is not None]
    currency = (whole or priced)[-1]["currency"] if priced else ""
    wanted = building.shortages(kit, currency=currency)
    rest = sum((row.cost for row in wanted if row.cost is not None), Decimal(0))
    return Progress(
        came=_came(entries),
        supplier=next((s for each in reversed(details) if (s := each.get("supplier"))), ""),
        costs=[
            Cost(code, spent, spent + rest if code == currency else spent)
            for code, spent in sorted(_spent(entries).items())
        ],
        currency=currency,
        wanted=wanted,
        unpriced=[row.item for row in wanted if row.cost is None] if currency else [],
    )


def proposed(kit: Kit, item: Item, expiry: date | None, wanted: Iterable[Shortage]) -> Fate:
    """What most likely becomes of an item: kept where the list wants it and it may be kept, onto a
    shelf where it is good, otherwise to training if a class can use it, or disposed of."""
    batch = Batch(id=0, thing=readiness.thing_of(item), expiry=expiry)
    if expiry is not None and may_be_put_in(batch, readiness.today_of(kit)) is not None:
        taught = item.for_class
        return Fate.TRAINING if taught else Fate.DISPOSE
    if item.by_eye:
        return Fate.KEEP if places_for(kit, [item])[item.pk].sections else Fate.SHELF
    wanting = {row.item.pk for row in wanted}
    will_do = Substitute.objects.filter(item__in=wanting, instead=item)
    return Fate.KEEP if item.pk in wanting or will_do.exists() else Fate.SHELF


@dataclass(frozen=True)
class Places:
    """Where an item may go: sections of the kit, those whose list asks for it first (of what is
    loose those alone); shelves of the room that the kit is in, those that hold the item first."""

    sections: Sequence[Place]
    shelves: Sequence[Place]


def places_for(kit: Kit, items: Iterable[Item]) -> dict[int, Places]:
    """Where each item may go, by its id; five queries for all."""
    by_id = {item.pk: item for item in items}
    sections, shelves = (
        list(kit.sections.open()),
        list(Place.objects.open().shelves().filter(room=kit.room)),
    )
    lines = list(kit.list_version.sections.values_list("key", "lines__item"))
    instead = grouped(Substitute.objects.filter(instead__in=by_id).values_list("instead", "item"))
    there = grouped(
        Holding.objects.on_hand()
        .filter(lot__item__in=by_id, place__in=shelves)
        .values_list("lot__item", "place")
    )
    found = {}
    for pk, item in by_id.items():
        serves = {pk, *instead.get(pk, ())}
        asking = {key for key, wanted in lines if wanted in serves}
        first = [place for place in sections if place.section_key in asking]
        others = [place for place in sections if place not in first]
        has = set(there.get(pk, ()))
        found[pk] = Places(
            first if item.by_eye else first + others,
            sorted(shelves, key=lambda place: place.pk not in has),
        )
    return found


def _entries(kit: Kit) -> QuerySet[Entry]:
    out = Entry.objects.filter(
        kit=kit, kind__in=(EntryKind.CHECK_OUT, EntryKind.EMERGENCY)
    ).aggregate(newest=Max("id"))
    return Entry.objects.filter(
        kit=kit, kind=EntryKind.STRIP, reversed_by__isnull=True, pk__gt=out["newest"] or 0
    ).order_by("id")


def _spent(entries: Sequence[Entry]) -> dict[str, Decimal]:
    """By currency: prices of the whole, else of single items."""
    prices = grouped(
        (detail["currency"], Decimal(price))
        for detail in (entry.detail_as(StripDetail) for entry in entries)
        if (price := detail.get("price")) is not None
    )
    whole = {currency: sum(each, Decimal(0)) for currency, each in prices.items()}
    sums = (
        Receipt.objects.filter(entry__in=entries, price__isnull=False)
        .values_list("currency")
        .annotate(total=Sum("price"))
        .order_by()
    )
    return dict(sums) | whole


def _came(entries: Sequence[Entry]) -> list[StrippedItem]:
    by_id = {entry.pk: entry for entry in entries}
    rows = [
        StrippedItem(
            by_id[leg.entry_id],
            leg.lot.item,
            leg.to_place,
            leg.units,
            leg.lot,
            reason=_reason(by_id[leg.entry_id].detail_as(StripDetail)["things"], leg),
        )
        for leg in Movement.objects.filter(entry__in=by_id).select_related(
            "lot__item", "to_place__room", "to_place__kit"
        )
    ]
    rows += [
        StrippedItem(by_id[fact.entry_id], fact.item, fact.section, level=fact.level)
        for fact in LevelFact.objects.filter(entry__in=by_id).select_related("item", "section")
    ]
    return sorted(rows, key=lambda row: row.entry.pk)


def _reason(things: Sequence[StripLine], leg: Movement) -> str:
    reasons = (thing["reason"] for thing in things if thing["item"] == leg.lot.item_id)
    return buying_texts.reason(next(filter(None, reasons), ""))
