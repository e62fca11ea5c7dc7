"""Counting a kit, a section or a shelf: what is there is written as it is, even expired.

Counted is what has a number; *none* is a number too, 0. What is left empty was not counted and
stays as it is on record, unless somebody confirms that nothing else is there. That is so for
shelves and kits, for pages and programs alike, and is decided here.

A count is a fact. What was too much on record goes to *unexplained*, what was too little comes
from there, and the entry keeps what was counted, so that later questions (how certain is a
recalled batch?) can start from it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from gearroom.core.rules.grouping import grouped
from kits.models import Entry, EntryKind, Holding, Item, Kit, Lot, Place, PlaceKind
from kits.models.details import CountDetail
from kits.rules.ledger import Kind, ReasonCode, why_not
from kits.rules.restocking.picking import first_out
from kits.services.kits import holds
from kits.services.ledger import (
    Book,
    Leg,
    LooseLevel,
    kit_state,
    lots,
    outer,
    readiness,
    write_levels,
)
from kits.services.notices import MedicineMissing, writing
from kits.services.text.amounts import units


@dataclass(frozen=True)
class CountLine:
    """So many units in a place: of a batch, or of an item whose batch nobody looked at."""

    place: Place
    units: int
    lot: Lot | None = None
    item: Item | None = None


@dataclass(frozen=True)
class Difference:
    """Where the count and the record differ: `found` − `booked` units of a batch in a place."""

    place: Place
    lot: Lot
    booked: int
    found: int
    assumed: bool


@dataclass(frozen=True)
class CountResult:
    """The entry of a count, its differences, and whether all that is in the places was counted."""

    entry: Entry
    differences: Sequence[Difference]
    complete: bool


def differences(
    places: Sequence[Place],
    lines: Sequence[CountLine],
    *,
    complete: bool = False,
    levels: Sequence[LooseLevel] = (),
) -> list[Difference]:
    """What a count would change, without writing it.

    `complete`: somebody confirms that nothing else is there, so what is not named is none. Raises
    Invalid for a count of nothing, of something outside the places, or of something twice.
    """
    if not (lines or levels or complete):
        raise Invalid(
            _(
                "Nothing has been counted yet. Enter how many there are (0 if none are left), "
                "or confirm that nothing else is there."
            ),
            field="found",
        )
    for line in lines:
        if line.place not in places:
            raise Invalid(
                _("%(place)s is not one of the places being counted.") % {"place": line.place.name},
                field="found",
            )
    by_id = {place.pk: place for place in places}
    there = Holding.objects.on_hand().filter(place__in=places).select_related("lot__item")
    booked = {(by_id[row.place_id], row.lot): row.units for row in there}
    rows = [
        ((line.place, lot), (count, line.lot is None))
        for line in lines
        for lot, count in _units_of(line, booked).items()
    ]
    counted = dict(rows)
    if len(counted) < len(rows):
        raise Invalid(
            _("The same batch has been counted twice in one place. Add the two numbers together."),
            field="found",
        )
    none_left = dict.fromkeys(booked, (0, False)) if complete else {}
    return [
        Difference(place, lot, booked.get((place, lot), 0), count, assumed)
        for (place, lot), (count, assumed) in sorted(
            (none_left | counted).items(), key=lambda row: (row[0][0].pk, row[0][1].pk)
        )
        if count != booked.get((place, lot), 0)
    ]


Booked = Mapping[tuple[Place, Lot], int]
"""How many units of a batch are on record in a place."""


def _units_of(line: CountLine, booked: Booked) -> dict[Lot, int]:
    """How many of which batches a line of a count says that there are."""
    count = units(line.units, field="found", least=0)
    if line.lot is None:
        if line.item is None:
            raise Invalid(_("Specify the batch or the item that was counted."), field="found")
        return _spread(line.item, line.place, count, booked)
    if count > 1 and line.lot.serial:
        raise Invalid(
            _(
                "%(item)s %(serial)s has a serial number. Count each instrument by its serial "
                "number."
            )
            % {"item": line.lot.item.name, "serial": line.lot.serial},
            field="found",
        )
    return {line.lot: count}


def _spread(item: Item, place: Place, count: int, booked: Booked) -> dict[Lot, int]:
    """Share a count of an item over its batches there: what goes out of date first is taken as
    missing, and what is over is taken as of what lasts longest."""
    there = [lot for where, lot in booked if where == place and lot.item_id == item.pk]
    batches = readiness.batches(there)
    there.sort(key=lambda lot: first_out(batches[lot.pk], ""), reverse=True)
    if item.kind == Kind.INSTRUMENT and count > len(there):
        raise Invalid(
            _("Count each %(item)s by its serial number.") % {"item": item.name}, field="found"
        )
    if not there:
        return {lots.known(item=item): count} if count else {}
    shares = {}
    for lot in there:
        shares[lot] = min(count, booked[place, lot])
        count -= shares[lot]
    shares[there[0]] += count
    return shares


def count(
    act: Act,
    places: Sequence[Place],
    lines: Sequence[CountLine],
    *,
    complete: bool = False,
    levels: Sequence[LooseLevel] = (),
    explained: Mapping[int, str] | None = None,
) -> CountResult:
    """Record a count of shelves, or of sections of one kit. Raises as `differences`.

    `complete` as there. `levels` are of loose items; `explained` has for batches (ids) why the
    record was wrong, as far as somebody knows. Keepers get a notice of a missing medicine at once.
    """
    kit_ids = {p.kit_id for p in places}
    if not places or len(kit_ids) > 1:
        raise Invalid(
            _("Count either shelves or the sections of one kit at a time."), field="places"
        )
    kit_id = kit_ids.pop()
    with Book(act) as book:
        _hold(book, kit_id, places, lines)
        kit = book.lock(kit_id)[0] if kit_id else None
        act.actor.require("count", kit.room_id if kit else places[0].room_id)
        changed = differences(places, lines, complete=complete, levels=levels)
        whole = complete or _all_named(places, lines, levels)
        unexplained = outer(PlaceKind.UNEXPLAINED)
        room = None if kit else places[0].room
        legs = [
            Leg(d.lot, unexplained, d.place, d.found - d.booked, assumed=d.assumed)
            if d.found > d.booked
            else Leg(d.lot, d.place, unexplained, d.booked - d.found, assumed=d.assumed)
            for d in changed
        ]
        counted = grouped(
            (str(line.place.pk), (str(line.lot.pk), line.units)) for line in lines if line.lot
        )
        # A whole count of every section of a kit is a check of it.
        checked = kit is not None and whole and set(kit.sections.open()) <= set(places)
        detail: CountDetail = {
            "places": [p.pk for p in places],
            "complete": whole and all(line.lot for line in lines),
            "counted": {place: dict(rows) for place, rows in counted.items()},
            "looked_inside": checked,
        }
        if explained:
            detail["explained"] = {str(k): v for k, v in explained.items()}
        entry = book.post(
            EntryKind.COUNT,
            legs,
            kit=kit,
            room=room,
            irregular=_unfit_added(changed, kit),
            detail=detail,
        )
        book.break_seals(entry, places)
        write_levels(entry, levels)
        if kit is not None and checked:
            kit_state.sorted_now(kit)
            holds.end_mixed(entry, kit)
        missing = {
            d.lot.item.name: d.booked - d.found
            for d in changed
            if d.found < d.booked and d.lot.item.kind == Kind.MEDICINE
        }
        if missing:
            facts = MedicineMissing(missing=missing)
            writing.notify_keepers(entry, "medicine-missing", kit=kit, room=room, facts=facts)
    return CountResult(entry, changed, whole)


def not_counted(places: Sequence[Place], lines: Sequence[CountLine]) -> list[Holding]:
    """What is on record in places and has no number in a count."""
    lots_named = {(line.place.pk, line.lot.pk) for line in lines if line.lot}
    items_named = {(line.place.pk, line.item.pk) for line in lines if line.item}
    there = Holding.objects.on_hand().filter(place__in=places)
    return [
        held
        for held in there.select_related("lot__item", "place").order_by("place", "lot")
        if (held.place_id, held.lot_id) not in lots_named
        and (held.place_id, held.lot.item_id) not in items_named
    ]


def _all_named(
    places: Sequence[Place], lines: Sequence[CountLine], levels: Sequence[LooseLevel]
) -> bool:
    """Whether a count has a line for each place, and a number for all that is on record there."""
    named = {line.place.pk for line in lines} | {level.section.pk for level in levels}
    return {place.pk for place in places} <= named and not not_counted(places, lines)


def _hold(
    book: Book, kit_id: int | None, places: Sequence[Place], lines: Sequence[CountLine]
) -> None:
    """Have all batches that are on record in the places, or in the count, stay where they are until
    the count is written: it is of one instant."""

    def batches() -> set[int]:
        there = Holding.objects.on_hand().filter(place__in=places)
        return {line.lot.pk for line in lines if line.lot} | {*there.values_list("lot", flat=True)}

    book.hold(lambda: [kit_id] if kit_id else [], batches)


def _unfit_added(changed: Sequence[Difference], kit: Kit | None) -> list[ReasonCode]:
    """The rules that what a count adds to a kit breaks: it stays written as counted."""
    if kit is None:
        return []
    more = {d.lot.pk: d.lot for d in changed if d.found > d.booked}
    today = readiness.today_of(kit)
    faults = (why_not(batch, today) for batch in readiness.batches(more.values()).values())
    return sorted({ReasonCode(f"found-{fault}") for fault in faults if fault})
