"""Rows that follow from facts and entries: seals, times with people, what is kept back, promises.

Each function yields the rows that are otherwise than the facts say, with the columns that differ:
`rewrite` writes them after an undo, and `audit` reports them.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from django.db.models import Model

from gearroom.core.acts import store
from gearroom.core.models import Person
from kits.models import (
    Checkout,
    CheckoutFact,
    Entry,
    EntryKind,
    Kit,
    Lot,
    Place,
    Reservation,
    Seal,
    SealFact,
    WithheldChange,
    WithheldFact,
    Withholding,
)
from kits.models.details import ReserveDetail, UnreserveDetail
from kits.services.ledger import facts, kit_state

Differing = tuple[Model, dict[str, Any]]
"""A row, and those of its columns that are not what the facts say, with what they say."""


def seals(kit: Kit) -> Iterator[Differing]:
    """The kit's seals that are whole or broken otherwise than the facts say; one that was put on
    by an act that was undone was broken by the undo."""
    spans = {
        span.put_on: span for span in facts.seals(SealFact.objects.filter(facts.then(), kit=kit))
    }
    for row in Seal.objects.filter(kit=kit).select_related("put_on__reversed_by"):
        span = spans.get(row.put_on_id)
        broken = span.broken if span else row.broken_id or _undo_of(row.put_on)
        yield from _differing(row, broken_id=broken)


def checkouts(kit: Kit) -> Iterator[Differing]:
    """The kit's times with people that are otherwise than the facts say."""
    times = {
        time.checkout: time
        for time in facts.times(CheckoutFact.objects.filter(facts.then(), kit=kit))
    }
    merged = _merged(time.person for time in times.values())
    for row in Checkout.objects.filter(kit=kit).select_related("opened_by__reversed_by"):
        if (time := times.get(row.pk)) is None:
            if (undo := _undo_of(row.opened_by)) is not None:
                yield from _differing(row, in_at=row.out_at, undone_id=undo)
            continue
        yield from _differing(
            row,
            person_id=_whoever(row.person_id, time.person, merged),
            in_at=time.in_at,
            closed_by_id=time.closed,
            undone_id=None,
            as_found=time.as_found,
        )


def withholdings(of: Kit | Lot) -> Iterator[Differing]:
    """Why a kit or a batch is on hold otherwise than the facts say. Of a reason that is in force,
    the row of the act since which it is so is the one not released."""
    about = {"kit": of} if isinstance(of, Kit) else {"lot": of}
    changes = WithheldFact.objects.filter(facts.then(), **about)
    rows = list(
        Withholding.objects.filter(**about).select_related("since__reversed_by").order_by("-id")
    )
    on_hold = {
        kind: min((row for row in rows if row.kind == kind), key=lambda row: row.since_id != since)
        for (_kit, _lot, kind), since in facts.on_hold(changes).items()
    }
    let_go = dict(changes.filter(what=WithheldChange.LET_GO).values_list("kind", "entry"))
    for row in rows:
        if on_hold.get(row.kind) is row:
            yield from _differing(row, released_id=None)
        elif row.released_id is None:
            yield row, {"released_id": _undo_of(row.since) or let_go.get(row.kind, row.since_id)}


def reservations(kit: Kit) -> Iterator[Differing]:
    """The kit's reservations that are open, or not, otherwise than the entries say."""
    promised: dict[int, int] = {}
    by_whom: dict[int, int | None] = {}
    released: dict[int, int] = {}
    rows = list(
        Reservation.objects.filter(kit=kit).select_related(
            "made__reversed_by", "released__reversed_by"
        )
    )
    trip_of = {row.pk: row.trip_id for row in rows}
    for entry in Entry.objects.filter(
        kit=kit, kind__in=(EntryKind.RESERVE, EntryKind.UNRESERVE), reversed_by__isnull=True
    ).order_by("id"):
        if entry.kind == EntryKind.UNRESERVE:
            row_id = entry.detail_as(UnreserveDetail)["reservation"]
            promised.pop(trip_of[row_id], None)
            released[row_id] = entry.pk
        elif entry.trip_id is not None:
            promised.setdefault(entry.trip_id, entry.pk)
            by_whom[entry.trip_id] = entry.detail_as(ReserveDetail).get("person")
    merged = _merged(by_whom.values())
    for trip, made in promised.items():
        of_trip = [row for row in rows if row.trip_id == trip]
        row = next((row for row in of_trip if row.made_id == made), of_trip[-1])
        rows.remove(row)
        person = _whoever(row.person_id, by_whom[trip], merged)
        yield from _differing(row, released_id=None, person_id=person)
    for row in rows:
        if row.released is None or _undo_of(row.released) is not None:
            by = released.get(row.pk) or _undo_of(row.made) or row.made_id
            yield from _differing(row, released_id=by)


def _merged(people: Iterable[int | None]) -> dict[int, int]:
    """Of these people those that turned out to be somebody else on record, and who that is."""
    rows = Person.objects.filter(pk__in=[pk for pk in people if pk], merged_into__isnull=False)
    return {pk: into for pk, into in rows.values_list("pk", "merged_into") if into is not None}


def _whoever(stored: int | None, then: int | None, merged: dict[int, int]) -> int | None:
    """Who it is by facts that name `then`: facts keep the number that somebody had then."""
    return stored if stored == then else merged.get(then or 0, then)


def _differing(row: Model, **wanted: Any) -> Iterator[Differing]:
    differs = {name: value for name, value in wanted.items() if getattr(row, name) != value}
    if differs:
        yield row, differs


def _undo_of(entry: Entry) -> int | None:
    return entry.reversed_by.pk if hasattr(entry, "reversed_by") else None


def rewrite(kit: Kit) -> None:
    """Write again all that follows from a locked kit's entries and facts, after some were undone.

    Its last good days are written as its book closes.
    """
    for rows in (seals, checkouts, withholdings, reservations):
        _write(rows(kit))
    Place.objects.filter(kit=kit, closed_on__isnull=False, holdings__units__gt=0).update(
        closed_on=None
    )
    store(
        kit,
        room_id=kit_state.room_id(kit),
        laid_up_since=kit_state.laid_up_since(kit),
        retired_on=kit_state.retired_on(kit),
        **kit_state.waiting(kit)._asdict(),
    )
    kit_state.rewrite_looks(kit)


def rewrite_lot(lot: Lot) -> None:
    """Write again why a batch is on hold."""
    _write(withholdings(lot))


def _write(rows: Iterable[Differing]) -> None:
    # What ends is written before what begins again: of either there is one at a time.
    for row, differs in sorted(
        rows, key=lambda differing: any(differing[1].get(end, "") is None for end in _ENDS)
    ):
        store(row, **differs)


_ENDS = ("broken_id", "in_at", "released_id")
