"""The events of an act, for other programs: written as its book closes, from its entries and from
what is so afterwards, so that no service can forget one.

What follows from the passing of time, or from several things together (how a kit stands, whether a
trip is covered, what is low), is announced by `kits.services.announcing`.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Q

from gearroom.core.rules.grouping import grouped
from kits.models import (
    Checkout,
    Entry,
    EntryKind,
    Kit,
    Lot,
    Recall,
    Reservation,
    Trip,
    WithheldChange,
    WithheldFact,
    Withholding,
)
from kits.models.details import KitDetail, TripDetail
from kits.rules.events import Subject, facts as says
from kits.services.events import Draft, write as write_events
from kits.services.ledger import facts

_CUSTODY = {
    EntryKind.CHECK_OUT: "kit.checked_out",
    EntryKind.EMERGENCY: "kit.checked_out",
    EntryKind.CHECK_IN: "kit.checked_in",
    EntryKind.PASS: "kit.passed_on",
}
_RESERVATION = {
    EntryKind.RESERVE: "reservation.made",
    EntryKind.UNRESERVE: "reservation.released",
}
_HOLD = {WithheldChange.KEPT: "kit.withheld", WithheldChange.LET_GO: "kit.released"}
_NO_LONGER = {WithheldChange.KEPT: "kit.released", WithheldChange.LET_GO: "kit.withheld"}
_Part = tuple[int, str | None]
"""A kit (its id) and the key of one of its sections, or None for all of it."""


@dataclass(frozen=True)
class _Loaded:
    """What is so once an act is done, as far as its events say it."""

    kits: Mapping[int, Kit]
    out: Mapping[_Part, Checkout]
    closed: Mapping[int, Sequence[Checkout]]
    due: Mapping[int, Checkout]
    corrected: Mapping[int, tuple[Entry, Sequence[_Part]]]
    """By kit whose time with people an undo changed: the last entry of the undo, and what of it."""
    on_hold: Mapping[int, Sequence[str]]
    holds: Mapping[int, Sequence[WithheldFact]]
    trips: Mapping[int, Trip]
    promised: Collection[tuple[int, int]]
    """Of the reservations that an undo was about, those there are now: kit and trip."""
    recalls: Mapping[int, Recall]
    recalled: Mapping[int, Sequence[int]]


def write(entries: Sequence[Entry], kits: Mapping[int, Kit], holds: Iterable[WithheldFact]) -> None:
    """Write the events of an act's entries; its rows are written already. `kits` are those that it
    locked, `holds` what it put on hold or released."""
    loaded = _load(entries, kits, holds)
    write_events(draft for entry in entries for draft in _of(entry, loaded))


def _of(entry: Entry, loaded: _Loaded) -> Iterator[Draft]:
    kind = EntryKind(entry.kind)
    if kind in _CUSTODY:
        ended = [_part(row) for row in loaded.closed.get(entry.pk, ())]
        yield from _custody(_CUSTODY[kind], entry, loaded, [_part_of(entry), *ended])
    elif kind in _RESERVATION:
        yield from _reservation(_RESERVATION[kind], entry)
    elif kind == EntryKind.TRIP:
        yield from _trip(entry, loaded)
    elif kind in (EntryKind.KIT, EntryKind.FOLLOW_LIST, EntryKind.LEAVE):
        yield from _kit(entry, loaded)
    elif kind == EntryKind.RECALL:
        yield from _recalled(entry, loaded)
    elif kind == EntryKind.RECALL_CLOSE:
        recall = loaded.recalls[entry.detail["recall"]]
        closed = says.RecallClosed(entry.pk, recall.pk, recall.item_id, entry.detail["outcome"])
        yield Draft("recall.closed", recall.pk, closed, entry.occurred_at)
    elif kind == EntryKind.REVERSE:
        yield from _undone(entry, loaded)
    yield from _holds(entry, loaded)


# ----------------------------------------------------------------------------------------- loading
def _load(
    entries: Sequence[Entry], locked: Mapping[int, Kit], holds: Iterable[WithheldFact]
) -> _Loaded:
    undone = [entry.reverses for entry in entries if entry.reverses is not None]
    hands = [entry for entry in entries if entry.kind in facts.HANDS or _is_due(entry)]
    corrected = _corrected(entries)
    due = {int(pk) for entry in entries for pk in _due(entry)}
    checkouts = _checkouts(hands, {*(e.kit_id for e in hands), *corrected}, due)
    held = [fact for fact in holds if fact.kit_id is not None]
    if undone:
        held += WithheldFact.objects.filter(entry__in=undone, kit__isnull=False).order_by("id")
    recalls = _recalls(entries)
    return _Loaded(
        kits={**{e.kit_id: e.kit for e in entries if e.kit_id and e.kit}, **locked},
        out={_part(row): row for row in checkouts if row.in_at is None},
        closed=grouped((row.closed_by_id or 0, row) for row in checkouts),
        due={row.pk: row for row in checkouts if row.pk in due},
        corrected=corrected,
        on_hold=_on_hold({fact.kit_id for fact in held if fact.kit_id is not None}),
        holds=grouped((fact.entry_id, fact) for fact in held),
        trips=_trips({e.trip_id for e in entries if e.kind == EntryKind.TRIP and e.trip_id}),
        promised=_promised(undone),
        recalls=recalls,
        recalled=_lots_of(recalls.values()),
    )


def _corrected(entries: Sequence[Entry]) -> dict[int, tuple[Entry, Sequence[_Part]]]:
    corrected: dict[int, tuple[Entry, Sequence[_Part]]] = {}
    for entry in entries:
        of = entry.reverses
        if of is not None and of.kind in facts.HANDS:
            kit = of.kit_id or 0
            _, parts = corrected.get(kit, (entry, [(kit, None)]))
            corrected[kit] = entry, [*parts, _part_of(of)]
    return corrected


def _is_due(entry: Entry) -> bool:
    return entry.kind == EntryKind.KIT and entry.detail_as(KitDetail)["what"] == "due"


def _due(entry: Entry) -> Iterable[str]:
    return entry.detail_as(TripDetail).get("due", ()) if entry.kind == EntryKind.TRIP else ()


def _checkouts(hands: Sequence[Entry], kits: set[int | None], due: set[int]) -> list[Checkout]:
    if not kits and not due:
        return []
    now = Q(in_at=None) & (Q(kit__in=kits) | Q(pk__in=due))
    return list(
        Checkout.objects.filter(now | Q(closed_by__in=hands))
        .select_related("section")
        .order_by("id")
    )


def _on_hold(kits: set[int]) -> Mapping[int, Sequence[str]]:
    rows = Withholding.objects.open().filter(kit__in=kits).order_by("kind")
    return grouped(rows.values_list("kit_id", "kind")) if kits else {}


def _trips(pks: set[int]) -> Mapping[int, Trip]:
    return Trip.objects.in_bulk(pks) if pks else {}


def _promised(undone: Iterable[Entry]) -> Collection[tuple[int, int]]:
    pairs = {(of.kit_id, of.trip_id) for of in undone if of.kind in _RESERVATION}
    kits, trips = {kit for kit, _ in pairs}, {trip for _, trip in pairs}
    rows = Reservation.objects.promised().filter(kit__in=kits, trip__in=trips)
    return set(rows.values_list("kit_id", "trip_id")) if pairs else ()


def _recalls(entries: Sequence[Entry]) -> Mapping[int, Recall]:
    began = [entry.pk for entry in entries if entry.kind == EntryKind.RECALL]
    kinds = (EntryKind.RECALL, EntryKind.RECALL_CLOSE)
    named = [e.detail["recall"] for e in entries if e.kind in kinds and "recall" in e.detail]
    if not began and not named:
        return {}
    return {row.pk: row for row in Recall.objects.filter(Q(entry__in=began) | Q(pk__in=named))}


def _lots_of(recalls: Iterable[Recall]) -> Mapping[int, Sequence[int]]:
    pks = [recall.pk for recall in recalls]
    rows = Lot.objects.filter(recall__in=pks).order_by("id").values_list("recall_id", "id")
    return grouped((recall or 0, lot) for recall, lot in rows) if pks else {}


# --------------------------------------------------------------------------------------- of a kit
def _part(row: Checkout) -> _Part:
    return row.kit_id, row.section.section_key if row.section is not None else None


def _part_of(entry: Entry) -> _Part:
    return entry.kit_id or 0, facts.section_key(entry)


def _custody(name: str, entry: Entry, loaded: _Loaded, parts: Iterable[_Part]) -> Iterator[Draft]:
    """Who has each of these now, whose time out the act began, changed or ended."""
    closed = {_part(row): row for row in loaded.closed.get(entry.pk, ())}
    for part in dict.fromkeys(parts):
        row = loaded.out.get(part) or closed.get(part)
        yield _draft(name, entry, loaded, part[0], _says_custody(entry, part, row))


def _says_custody(entry: Entry, part: _Part, row: Checkout | None) -> says.Custody:
    now = row if row is not None and row.in_at is None else None
    return says.Custody(
        entry=entry.pk,
        kit=part[0],
        section=part[1],
        out=now is not None,
        checkout=row.pk if row is not None else entry.checkout_id,
        holder=now.person_id if now is not None else None,
        trip=row.trip_id if row is not None else entry.trip_id,
        due_at=now.due_at if now is not None else None,
        late=facts.is_history(entry),
    )


def _due_changed(entry: Entry, row: Checkout, loaded: _Loaded) -> Draft:
    custody = _says_custody(entry, _part(row), row)
    # With a trip of another room too, which has an event of its own.
    here = loaded.kits[row.kit_id].room_id
    return _draft("kit.due_changed", entry, loaded, row.kit_id, custody, other_room=here)


def _kit(entry: Entry, loaded: _Loaded) -> Iterator[Draft]:
    if entry.kit_id is None:
        return
    if _is_due(entry):
        rows = [row for row in loaded.out.values() if row.pk == entry.checkout_id]
        yield from (_due_changed(entry, row, loaded) for row in rows)
        return
    what = entry.detail.get("what")
    retired = loaded.kits[entry.kit_id].retired_on is not None
    name = "kit.added" if what == "added" else "kit.retired" if retired else "kit.changed"
    change = says.KitChanged(entry.pk, entry.kit_id)
    before = entry.detail["before"][0] if what == "moved-home" else None
    yield _draft(name, entry, loaded, entry.kit_id, change, other_room=before)


def _holds(entry: Entry, loaded: _Loaded) -> Iterator[Draft]:
    """What the act put on hold or released; of what it took back, the opposite."""
    for of, names in ((entry.pk, _HOLD), (entry.reverses_id, _NO_LONGER)):
        for fact in loaded.holds.get(of or 0, ()):
            kit = fact.kit_id or 0
            held = says.OnHold(entry.pk, kit, tuple(loaded.on_hold.get(kit, ())))
            yield _draft(names[WithheldChange(fact.what)], entry, loaded, kit, held)


def _draft(
    name: str, entry: Entry, loaded: _Loaded, kit: int, data: object, other_room: int | None = None
) -> Draft:
    """An event of a kit: of the room where it is at home, and of the one where it happened."""
    row = loaded.kits.get(kit)
    home = row.home_room_id if row is not None else None
    return Draft(name, kit, data, entry.occurred_at, home, other_room or entry.room_id)


# -------------------------------------------------------------------------------------- of the rest
def _reservation(name: str, entry: Entry) -> Iterator[Draft]:
    if entry.kit is None or entry.trip is None:
        return
    data = says.Reserved(entry.pk, entry.kit.pk, entry.trip.pk)
    rooms = entry.trip.room_id, entry.kit.home_room_id
    yield Draft(name, entry.trip.pk, data, entry.occurred_at, *rooms)


def _trip(entry: Entry, loaded: _Loaded) -> Iterator[Draft]:
    trip = loaded.trips[entry.trip_id or 0]
    detail = entry.detail_as(TripDetail)
    changed = detail.get("changed", {})
    data = says.TripChanged(
        entry=entry.pk,
        trip=trip.pk,
        revision=trip.revision,
        changed=tuple(changed),
        departs_at=trip.departs_at,
        returns_at=trip.returns_at,
        first_day=trip.first_day,
        last_day=trip.last_day,
        cancelled=trip.cancelled_at is not None,
    )
    if (before := changed.get("room", [None])[0]) is not None:
        # Who had it learns that it is gone, and nothing of where to.
        moved = says.TripMoved(entry.pk, trip.pk)
        yield Draft("trip.moved", trip.pk, moved, entry.occurred_at, before)
    name = {"created": "trip.created", "cancelled": "trip.cancelled"}.get(detail["what"])
    yield Draft(name or "trip.updated", trip.pk, data, entry.occurred_at, trip.room_id)
    for pk in map(int, detail.get("due", ())):
        if pk in loaded.due:
            yield _due_changed(entry, loaded.due[pk], loaded)


def _recalled(entry: Entry, loaded: _Loaded) -> Iterator[Draft]:
    named = entry.detail.get("recall")
    for recall in loaded.recalls.values():
        if named == recall.pk or recall.entry_id == entry.pk:
            lots = tuple(loaded.recalled.get(recall.pk, ()))
            still = recall.closed_id is None
            data = says.Recalled(entry.pk, recall.pk, recall.item_id, lots, still)
            yield Draft("lot.recalled", recall.pk, data, entry.occurred_at)


def _undone(entry: Entry, loaded: _Loaded) -> Iterator[Draft]:
    """That an act was taken back, and what is so without it."""
    of = entry.reverses
    if of is None:
        return
    kit = loaded.kits.get(of.kit_id or 0)
    subjects = (Subject.KIT, of.kit_id), (Subject.TRIP, of.trip_id), (Subject.ENTRY, of.pk)
    subject, about = next((subject, number) for subject, number in subjects if number)
    yield Draft(
        "act.undone",
        about,
        says.Undone(entry.pk, of.pk, of.kind, of.kit_id, of.trip_id),
        entry.recorded_at,
        kit.home_room_id if kit is not None else None,
        of.room_id,
        subject=subject,
    )
    last, parts = loaded.corrected.get(of.kit_id or 0, (None, []))
    if last is entry:
        now = [part for part in loaded.out if part[0] == of.kit_id]
        yield from _custody("kit.custody_corrected", entry, loaded, [*parts, *now])
    if of.kind in _RESERVATION:
        there = (of.kit_id, of.trip_id) in loaded.promised
        yield from _reservation("reservation.made" if there else "reservation.released", entry)
    elif of.kind == EntryKind.LEAVE:
        yield from _kit(entry, loaded)
