"""Where a recalled batch is, and what follows: quarantined, kits kept back, people told.

The batches are marked, so no kit that holds one is cleared to go. How sure the book is of each
place is worked out from all movements (see `kits.rules.recalls.certainty`); a kit that may hold
more than the book names is kept back until somebody has looked.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from gearroom.core.rules.grouping import grouped, summed
from kits.models import (
    INNER,
    Certainty,
    Entry,
    EntryKind,
    Holding,
    Item,
    Lot,
    Movement,
    Place,
    PlaceKind,
    Recall,
    RecallPlace,
    RecallScope,
    WithheldKind,
    Withholding,
)
from kits.models.details import CountDetail, RecallDetail
from kits.rules.recalls import certainty as rule
from kits.services.ledger import Book, Leg, lots, room_place
from kits.services.lookup import holders
from kits.services.recalls import recall_notices


@dataclass(frozen=True)
class Whereabouts:
    """Where a recall's batches are: ranges by the movements, units by the book."""

    rows: Sequence[tuple[Certainty, rule.PlaceRange]]
    booked: dict[int, list[Holding]]
    places: dict[int, Place]


def locate(recall: Recall) -> Whereabouts:
    """Where a recall's batches are, as far as the book can tell; the recall may be unsaved."""
    batches = list(Lot.objects.filter(item=recall.item_id).only("pk", "number"))
    suspect = set(Lot.objects.filter(lots.matching(recall)).values_list("pk", flat=True))
    certain = {lot.pk for lot in batches if lot.pk in suspect and named(recall, lot)}
    outside = dict(Place.objects.exclude(kind__in=INNER).values_list("pk", "kind"))
    held = rule.recalled_places(
        _events(recall.item_id),
        certain,
        suspect - certain,
        outer=outside,
        unexplained=[pk for pk, kind in outside.items() if kind == PlaceKind.UNEXPLAINED],
    )
    holdings = Holding.objects.on_hand().filter(lot__in=suspect).select_related("lot__item")
    booked = grouped((row.place_id, row) for row in holdings.order_by("lot__expiry", "lot"))
    rows = [
        *((Certainty.CERTAIN, bounds) for bounds in held.certain),
        *((Certainty.MAYBE, bounds) for bounds in held.maybe),
    ]
    places = Place.objects.select_related(
        "room", "kit__room", "kit__home_room", "kit__responsible", "kit__deputy"
    ).in_bulk({bounds.place for _, bounds in rows} | set(booked))
    return Whereabouts(sorted(rows, key=lambda row: row[1].place), booked, places)


def kit_ids(located: Whereabouts) -> list[int]:
    """The kits among the places, ascending."""
    return sorted({p.kit_id for p in located.places.values() if p.kit_id})


def kits_that_ever_held(item_id: int) -> set[int]:
    """The kits that a unit of a thing was ever put into, whatever its batch."""
    sections = Movement.objects.filter(lot__item=item_id, to_place__kit__isnull=False)
    return {pk for pk in sections.values_list("to_place__kit", flat=True) if pk is not None}


def hold(book: Book, recall: Recall) -> None:
    """Lock all that `spread` may write of a recall, and have nothing of the thing move meanwhile:
    kits first, then the thing (a batch made meanwhile waits for it and sees the recall, or is seen
    here), then its batches."""

    def batches() -> QuerySet[Lot, int]:
        Item.objects.select_for_update().get(pk=recall.item_id)
        return Lot.objects.filter(item=recall.item_id).values_list("pk", flat=True)

    book.hold(lambda: kit_ids(locate(recall)), batches)


def named(recall: Recall, lot: Lot) -> bool:
    """Whether a recall is about a batch for certain, not only until its number is known."""
    by_number = recall.scope == RecallScope.NUMBER and lot.number == recall.number
    return by_number or recall.scope == RecallScope.ALL


def _events(item_id: int) -> list[rule.Event]:
    """All movements of a thing, and after each whole count what was there, as recorded."""
    events: dict[int, list[rule.Event]] = defaultdict(list)
    touched = set()
    for m in Movement.objects.filter(lot__item=item_id).select_related("entry").order_by("id"):
        touched |= {m.from_place_id, m.to_place_id}
        events[m.entry_id].append(
            rule.Leg(
                entry=m.entry_id,
                batch=m.lot_id,
                from_place=m.from_place_id,
                to_place=m.to_place_id,
                units=m.units,
                lot_assumed=m.lot_assumed,
                reverses=m.entry.reverses_id,
            )
        )
    of_thing = set(Lot.objects.filter(item=item_id).values_list("pk", flat=True))
    for count in Entry.objects.filter(
        kind=EntryKind.COUNT, detail__complete=True, reversed_by__isnull=True
    ):
        detail = count.detail_as(CountDetail)
        for place in touched.intersection(detail["places"]):
            units = detail["counted"].get(str(place), {})
            batches = {int(lot): n for lot, n in units.items() if int(lot) in of_thing}
            events[count.pk].append(rule.Counted(count.pk, place, batches))
    return [event for entry in sorted(events) for event in events[entry]]


def spread(book: Book, recall: Recall) -> Entry:
    """Write into an open book where a recall's batches are, quarantine what is not in kits, keep
    back the kits that may hold more than the book names, tell people.

    Also for a recall on record, when a batch came under it later: rows on record stay. Whoever
    calls it has locked the kits and the batches (see `hold`).
    """
    located = locate(recall)
    book.lock(*kit_ids(located))
    legs = _to_quarantine(located)
    detail: RecallDetail = {
        "item": recall.item_id,
        "scope": recall.scope,
        "number": recall.number,
    }
    if recall.pk is not None:
        detail["recall"] = recall.pk
    entry = book.post(EntryKind.RECALL, legs, detail=detail)
    if recall.pk is None:
        recall.entry = entry
        recall.save()
    Lot.objects.filter(lots.matching(recall), recall__isnull=True).update(recall=recall)
    moved = summed((leg.source.pk, leg.units) for leg in legs)
    having = holders.of_places(located.places.values())
    rows = [
        RecallPlace(
            recall=recall,
            place=located.places[held.place],
            certainty=certainty,
            units_min=held.least,
            units_max=held.most,
            quarantined=moved[held.place],
            person=having.get(held.place),
        )
        for certainty, held in located.rows
        if located.places[held.place].kind != PlaceKind.QUARANTINE
    ]
    known = set(RecallPlace.objects.filter(recall=recall).values_list("place_id", flat=True))
    new = RecallPlace.objects.bulk_create([row for row in rows if row.place_id not in known])
    _put_on_hold(entry, new, located)
    recall_notices.tell(entry, recall, new)
    return entry


def _to_quarantine(located: Whereabouts) -> list[Leg]:
    """What the book has of it outside of kits, into the quarantine of the room where it is. Where
    the book is not sure of a place, what is carried over is an assumption too."""
    certain = {held.place for _, held in located.rows if held.least == held.most}
    return [
        Leg(
            holding.lot,
            located.places[place],
            room_place(located.places[place].room_now, PlaceKind.QUARANTINE),
            holding.units,
            assumed=place not in certain,
        )
        for place, holdings in located.booked.items()
        if located.places[place].kind not in _NOT_HERE
        for holding in holdings
    ]


_NOT_HERE = (PlaceKind.SECTION, PlaceKind.QUARANTINE, PlaceKind.AWAY)
"""Where nobody can carry units from a shelf of the room to its quarantine."""


def _put_on_hold(entry: Entry, rows: Iterable[RecallPlace], located: Whereabouts) -> None:
    """Put kits on hold where more may be than the marked batches themselves stop."""
    for row in rows:
        booked = sum(holding.units for holding in located.booked.get(row.place_id, ()))
        if row.place.kit_id and row.units_max > booked:
            Withholding.objects.get_or_create(
                kit_id=row.place.kit_id,
                kind=WithheldKind.RECALL,
                released=None,
                defaults={"since": entry},
            )
