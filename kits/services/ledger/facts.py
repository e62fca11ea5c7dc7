"""Writing the facts of seals, of kits' times with people and of what is on hold, and reading
those in force.

`Book` has them written when an act closes, from what the act did, so that no service can forget
one. They are read as they were known at an instant, or as they are known now.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import Q, QuerySet

from gearroom.core.rules.grouping import grouped
from kits.models import (
    Checkout,
    CheckoutChange,
    CheckoutFact,
    Entry,
    EntryKind,
    Place,
    Seal,
    SealChange,
    SealFact,
    WithheldChange,
    WithheldFact,
    Withholding,
)
from kits.models.details import CheckInDetail, CheckOutDetail, KindDetail
from kits.rules.ledger import ReasonCode, in_force

TAKES = (EntryKind.CHECK_OUT, EntryKind.EMERGENCY)
"""The acts by which somebody takes a kit."""
HANDS = (*TAKES, EntryKind.CHECK_IN, EntryKind.PASS)
"""The acts by which a kit changes hands."""
_HOLDS = (
    EntryKind.WITHHOLD,
    EntryKind.RELEASE,
    EntryKind.RECALL,
    EntryKind.RECALL_ANSWER,
    EntryKind.RECALL_CLOSE,
    EntryKind.CHECK,
    EntryKind.CORRECT_LOT,
    EntryKind.COUNT,
)


def is_history(entry: Entry) -> bool:
    """Whether a report came after what it is about had changed again: who has the kit stays."""
    return ReasonCode.OUT_OF_ORDER in entry.irregular


def is_added(entry: Entry) -> bool:
    """Whether an entry adds to a count or a sweep what an earlier undo made of it."""
    return "again" in entry.detail


def section_key(entry: Entry) -> str | None:
    """The key of the section that an entry is about; None for the whole kit."""
    key: str | None = entry.detail.get("section")
    return key


# -------------------------------------------------------------------------------------- in force
def then(at: datetime | None = None, known_by: datetime | None = None) -> Q:
    """The condition on a row with an `entry` that it was in force: happened by `at`, recorded by
    `known_by` and not reversed by an entry recorded by then. None: now."""
    if known_by is None:
        condition = Q(entry__reversed_by__isnull=True)
    else:
        condition = Q(entry__recorded_at__lte=known_by) & (
            Q(entry__reversed_by__isnull=True) | Q(entry__reversed_by__recorded_at__gt=known_by)
        )
    return condition if at is None else condition & Q(entry__occurred_at__lte=at)


def seals(rows: QuerySet[SealFact]) -> list[in_force.SealSpan]:
    """The seals of one kit by its facts."""
    in_order = rows.order_by("entry", "id")
    return in_force.seals(in_order.values_list("entry_id", "section_id", "number"))


def times(rows: QuerySet[CheckoutFact]) -> list[in_force.CustodySpan]:
    """The times that people had one kit or its sections, by its facts."""
    changes = (CheckoutChange.OPENED, CheckoutChange.PASSED, CheckoutChange.CLOSED)
    return in_force.times(
        in_force.CustodyEvent(*row)
        for row in rows.filter(what__in=changes)
        .order_by("entry", "id")
        .values_list("entry_id", "section_id", "checkout_id", "what", "person_id", "at", "as_found")
    )


def on_hold(rows: QuerySet[WithheldFact]) -> dict[in_force.Hold, int]:
    """What is on hold by these facts: kit, lot and why, with the entry since which it is."""
    return in_force.on_hold(
        ((kit, lot, kind), what == WithheldChange.KEPT, entry)
        for kit, lot, kind, what, entry in rows.order_by("entry", "id").values_list(
            "kit_id", "lot_id", "kind", "what", "entry_id"
        )
    )


# --------------------------------------------------------------------------------------- writing
def sections_opened(entry: Entry, sections: Iterable[Place]) -> None:
    """Write that these sections were opened, each once an entry."""
    written = set(entry.seal_facts.filter(what=SealChange.BROKEN).values_list("section", flat=True))
    SealFact.objects.bulk_create(
        SealFact(kit_id=kit, section_id=place, what=SealChange.BROKEN, entry=entry)
        for place, kit in {p.pk: p.kit_id for p in sections}.items()
        if kit is not None and place not in written
    )


def write(entries: Sequence[Entry]) -> list[WithheldFact]:
    """Write the facts that follow from an act's entries; their rows are there already. Return those
    of what was put on hold or released."""
    if sealed := [entry for entry in entries if entry.kind == EntryKind.RESEAL]:
        _write_seals(sealed)
    if custody := [entry for entry in entries if entry.kind in HANDS and not is_history(entry)]:
        CheckoutFact.objects.bulk_create(_custody(custody))
    held = [entry for entry in entries if entry.kind in _HOLDS]
    return WithheldFact.objects.bulk_create(_holds(held)) if held else []


def _write_seals(sealed: Sequence[Entry]) -> None:
    SealFact.objects.bulk_create(
        SealFact(
            kit_id=seal.kit_id,
            section_id=seal.section_id,
            what=SealChange.ON,
            number=seal.number,
            entry_id=seal.put_on_id,
        )
        for seal in Seal.objects.filter(put_on__in=sealed).order_by("id")
    )


def _custody(entries: Sequence[Entry]) -> Iterable[CheckoutFact]:
    rows = Checkout.objects.filter(closed_by__in=entries).order_by("id")
    closed = grouped((row.closed_by_id, row) for row in rows)
    opened = {row.opened_by_id: row for row in Checkout.objects.filter(opened_by__in=entries)}
    passed = {
        hand.entry_id: hand
        for entry in entries
        if entry.kind == EntryKind.PASS
        for hand in entry.handovers.select_related("checkout")
    }
    for entry in entries:
        for row in closed[entry.pk]:
            yield _fact(row, CheckoutChange.CLOSED, entry, row.in_at, as_found=row.as_found)
        if entry.kind == EntryKind.CHECK_IN and not closed[entry.pk] and entry.kit_id:
            yield CheckoutFact(
                kit_id=entry.kit_id,
                section=section_of(entry),
                what=CheckoutChange.CLOSED,
                at=entry.occurred_at,
                as_found=entry.detail_as(CheckInDetail)["as_found"],
                entry=entry,
            )
        if entry.pk in opened:
            row = opened[entry.pk]
            # Who took it, though it was passed on within the same act.
            yield _fact(
                row,
                CheckoutChange.OPENED,
                entry,
                row.out_at,
                person=entry.detail_as(CheckOutDetail)["to"],
            )
        if entry.pk in passed:
            hand = passed[entry.pk]
            yield _fact(
                hand.checkout, CheckoutChange.PASSED, entry, hand.since, person=hand.person_id
            )


def _fact(
    row: Checkout,
    what: CheckoutChange,
    entry: Entry,
    at: datetime | None,
    *,
    person: int | None = None,
    as_found: str = "",
) -> CheckoutFact:
    return CheckoutFact(
        kit_id=row.kit_id,
        section_id=row.section_id,
        checkout=row,
        what=what,
        person_id=person if person is not None or what == CheckoutChange.OPENED else row.person_id,
        at=at or entry.occurred_at,
        as_found=as_found,
        entry=entry,
    )


def undone(undo: Entry, entry: Entry) -> None:
    """Write beside what is in force that an undo took back a taking out or a hand-back."""
    if entry.kind not in (*TAKES, EntryKind.CHECK_IN):
        return
    opened = Checkout.objects.filter(opened_by=entry)
    again = Checkout.objects.open().filter(facts__entry=entry).exclude(opened_by=entry)
    CheckoutFact.objects.bulk_create(
        [
            *(_fact(row, CheckoutChange.UNDONE, undo, undo.recorded_at) for row in opened),
            *(_fact(row, CheckoutChange.REOPENED, undo, undo.recorded_at) for row in again),
        ]
    )


def section_of(entry: Entry) -> Place | None:
    """The section that a taking out, a hand-back or a seal is of; None: the whole kit."""
    key = section_key(entry)
    return Place.objects.filter(kit=entry.kit_id, section_key=key).first() if key else None


def _holds(entries: Sequence[Entry]) -> Iterable[WithheldFact]:
    again = {entry.pk: entry for entry in entries if entry.kind == EntryKind.WITHHOLD}
    for row in Withholding.objects.filter(since__in=entries).order_by("id"):
        again.pop(row.since_id, None)
        yield _kept(row, WithheldChange.KEPT, row.since_id)
    for entry in again.values():  # of what is on hold already
        yield WithheldFact(
            kit_id=entry.kit_id,
            kind=entry.detail_as(KindDetail)["kind"],
            what=WithheldChange.KEPT,
            entry=entry,
        )
    for row in Withholding.objects.filter(released__in=entries).order_by("id"):
        yield _kept(row, WithheldChange.LET_GO, row.released_id or 0)


def _kept(row: Withholding, what: WithheldChange, entry: int) -> WithheldFact:
    return WithheldFact(
        kit_id=row.kit_id, lot_id=row.lot_id, kind=row.kind, what=what, entry_id=entry
    )
