"""Counting a kit, a section or a shelf: what is found is written as found, even expired.

Counted is what somebody says a number of; *none* is a number too, 0. What is left empty was not
counted and stays as the book has it, unless it is said that nothing else is there. That is so for
shelves and kits, for pages and programs alike, and is decided here.

A count is a fact. What the book had too much of goes to *unexplained*, what it had too little of
comes from there, and the entry keeps what was counted, so that later questions (how sure are we
of a recalled batch?) can start from it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid
from kits.models import Entry, EntryKind, Holding, Item, Kit, Lot, Place, PlaceKind
from kits.models.details import CountDetail
from kits.rules.ledger.expiry import why_not
from kits.rules.ledger.facts import Kind
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.restocking.picking import first_out
from kits.services.kits import mixed_contents
from kits.services.ledger import kit_state, lots, readiness
from kits.services.ledger.book import Book, Leg, outer
from kits.services.ledger.levels import LooseLevel, write_levels
from kits.services.notices import writing
from kits.services.notices.facts import MedicineMissing
from kits.services.text.amounts import units


@dataclass(frozen=True)
class CountLine:
    """So many units in a place: of a batch, or of a thing whose batch nobody looked at."""

    place: Place
    units: int
    lot: Lot | None = None
    item: Item | None = None


@dataclass(frozen=True)
class Difference:
    """Where the count and the book differ: `found` − `booked` units of a batch in a place."""

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
    found: Sequence[CountLine],
    *,
    complete: bool = False,
    levels: Sequence[LooseLevel] = (),
) -> list[Difference]:
    """What a count would change, without writing it.

    `complete`: somebody says that nothing else is there, so what is not named is none. Raises
    Invalid for a count of nothing, of something outside the places, or of something twice.
    """
    if not (found or levels or complete):
        raise Invalid(
            _(
                "Nothing is counted yet. Enter how many there are, 0 where none is left; or "
                "confirm that nothing else is there."
            ),
            field="found",
        )
    booked: dict[tuple[int, int], int] = {}
    known: dict[int, Lot] = {}
    for holding in Holding.objects.on_hand().filter(place__in=places).select_related("lot__item"):
        booked[holding.place_id, holding.lot_id] = holding.units
        known[holding.lot_id] = holding.lot
    by_id = {p.pk: p for p in places}
    counted: dict[tuple[int, int], tuple[int, bool]] = {}
    for line in found:
        if line.place.pk not in by_id:
            raise Invalid(
                _("%(place)s is not among the places counted.") % {"place": line.place.name},
                field="found",
            )
        count = units(line.units, field="found", least=0)
        if count > 1 and line.lot is not None and line.lot.serial:
            raise Invalid(
                _("%(item)s %(serial)s has a serial number. Count each instrument by its serial.")
                % {"item": line.lot.item.name, "serial": line.lot.serial},
                field="found",
            )
        if line.lot is not None:
            known[line.lot.pk] = line.lot
            _once(counted, (line.place.pk, line.lot.pk), count, assumed=False)
        elif line.item is not None:
            spread = _spread(line.item, line.place, count, booked, known)
            for lot, share in spread.items():
                known[lot.pk] = lot
                _once(counted, (line.place.pk, lot.pk), share, assumed=True)
        else:
            raise Invalid(_("Name the batch or the item that was counted."), field="found")
    if complete:
        for where in booked:
            counted.setdefault(where, (0, False))
    return [
        Difference(by_id[place], known[lot], booked.get((place, lot), 0), count, assumed)
        for (place, lot), (count, assumed) in sorted(counted.items())
        if count != booked.get((place, lot), 0)
    ]


def _once(
    counted: dict[tuple[int, int], tuple[int, bool]],
    where: tuple[int, int],
    count: int,
    *,
    assumed: bool,
) -> None:
    if where in counted:
        raise Invalid(
            _("The same batch is counted twice in one place. Add the two numbers up."),
            field="found",
        )
    counted[where] = (count, assumed)


def _spread(
    item: Item, place: Place, count: int, booked: dict[tuple[int, int], int], known: dict[int, Lot]
) -> dict[Lot, int]:
    """Share a count of a thing over its batches there: what goes out of date first is taken as
    missing, and what is over is taken as of what lasts longest."""
    there = [
        known[lot] for where, lot in booked if where == place.pk and known[lot].item_id == item.pk
    ]
    batches = readiness.batches(there)
    there.sort(key=lambda lot: first_out(batches[lot.pk], ""), reverse=True)
    if not there:
        return {lots.known(item=item): count} if count else {}
    shares = {}
    for lot in there:
        shares[lot] = min(count, booked[place.pk, lot.pk])
        count -= shares[lot]
    shares[there[0]] += count
    return shares


def count(
    act: Act,
    places: Sequence[Place],
    found: Sequence[CountLine],
    *,
    complete: bool = False,
    levels: Sequence[LooseLevel] = (),
    explained: Mapping[int, str] | None = None,
) -> CountResult:
    """Write down what was found in shelves, or in sections of one kit. Raises as `differences`.

    `complete` as there. `levels` are things judged by eye; `explained` says of batches (ids) why
    the book was wrong, as far as somebody knows. A medicine that is missing is told to the keepers
    at once.
    """
    kit_ids = {p.kit_id for p in places}
    if not places or len(kit_ids) > 1:
        raise Invalid(_("Count shelves, or the sections of one kit, at a time."), field="places")
    kit_id = kit_ids.pop()
    with Book(act) as book:
        _hold(book, kit_id, places, found)
        kit = book.lock(kit_id)[0] if kit_id else None
        act.actor.require("count", kit.room_id if kit else places[0].room_id)
        changed = differences(places, found, complete=complete, levels=levels)
        whole = complete or _all_named(places, found, levels)
        unexplained = outer(PlaceKind.UNEXPLAINED)
        legs = [
            Leg(d.lot, unexplained, d.place, d.found - d.booked, assumed=d.assumed)
            if d.found > d.booked
            else Leg(d.lot, d.place, unexplained, d.booked - d.found, assumed=d.assumed)
            for d in changed
        ]
        counted: dict[str, dict[str, int]] = defaultdict(dict)
        for line in found:
            if line.lot is not None:
                counted[str(line.place.pk)][str(line.lot.pk)] = line.units
        checked = kit is not None and whole and _all_sections(kit, places)
        detail: CountDetail = {
            "places": [p.pk for p in places],
            "complete": whole and all(line.lot for line in found),
            "counted": counted,
            "looked_inside": checked,
        }
        if explained:
            detail["explained"] = {str(k): v for k, v in explained.items()}
        entry = book.post(
            EntryKind.COUNT,
            legs,
            kit=kit,
            room=None if kit else places[0].room,
            irregular=_unfit_found(changed, kit),
            detail=detail,
        )
        if kit is not None:
            book.break_seals(entry, places)
        write_levels(entry, levels)
        if kit is not None and checked:
            kit_state.sorted_now(kit)
            mixed_contents.count_ends_it(entry, kit)
        missing = [d for d in changed if d.found < d.booked and d.lot.item.kind == Kind.MEDICINE]
        if missing:
            writing.notify_keepers(
                entry,
                "medicine-missing",
                kit=kit,
                room=None if kit else places[0].room,
                facts=MedicineMissing(
                    missing={d.lot.item.name: d.booked - d.found for d in missing}
                ),
            )
    return CountResult(entry, changed, whole)


def not_counted(places: Sequence[Place], found: Sequence[CountLine]) -> list[Holding]:
    """What the book has in places and nobody said a number of."""
    lots_named = {(line.place.pk, line.lot.pk) for line in found if line.lot}
    items_named = {(line.place.pk, line.item.pk) for line in found if line.item}
    there = Holding.objects.on_hand().filter(place__in=places)
    return [
        held
        for held in there.select_related("lot__item", "place").order_by("place", "lot")
        if (held.place_id, held.lot_id) not in lots_named
        and (held.place_id, held.lot.item_id) not in items_named
    ]


def _all_named(
    places: Sequence[Place], found: Sequence[CountLine], levels: Sequence[LooseLevel]
) -> bool:
    """Whether something was said of each place, and a number of all that the book has there."""
    said = {line.place.pk for line in found} | {seen.section.pk for seen in levels}
    return {p.pk for p in places} <= said and not not_counted(places, found)


def _all_sections(kit: Kit, places: Sequence[Place]) -> bool:
    """Whether every section of a kit is among the places: then a count of all of them is a check
    of the kit."""
    open_ones = kit.sections.open().values_list("pk", flat=True)
    return set(open_ones) <= {place.pk for place in places}


def _hold(
    book: Book, kit_id: int | None, places: Sequence[Place], found: Sequence[CountLine]
) -> None:
    """Have all batches that the book has in the places, or that were found, stay where they are
    until the count is written: it is of one instant."""

    def batches() -> set[int]:
        there = Holding.objects.on_hand().filter(place__in=places)
        return {line.lot.pk for line in found if line.lot} | {*there.values_list("lot", flat=True)}

    book.hold(lambda: [kit_id] if kit_id else [], batches)


def _unfit_found(changed: Sequence[Difference], kit: Kit | None) -> list[ReasonCode]:
    """The rules that what was found in a kit breaks: it stays written as found."""
    if kit is None:
        return []
    more = {d.lot.pk: d.lot for d in changed if d.found > d.booked}
    today = readiness.today_of(kit)
    faults = (why_not(batch, today) for batch in readiness.batches(more.values()).values())
    return sorted({ReasonCode(f"found-{fault}") for fault in faults if fault})
