"""State that follows from entries, worked out from them: for writing it again and for the audit."""

from __future__ import annotations

from datetime import date, datetime

from gearroom.core import clock
from kits.models import AsFound, Entry, EntryKind, Kit
from kits.rules.irregular import Broken

_SORTED = (EntryKind.LOOK_INSIDE, EntryKind.RESTOCK, EntryKind.RESEAL)
_WAITS = (EntryKind.CHECK_IN, EntryKind.WAKE, EntryKind.FOUND)


def iso(instant: datetime | None) -> str | None:
    """An instant as an entry's detail keeps it."""
    return instant.isoformat() if instant else None


def moment(text: str | None) -> datetime | None:
    """An instant out of an entry's detail."""
    return datetime.fromisoformat(text) if text else None


def last_look(kit: Kit) -> tuple[date | None, int | None]:
    """When the kit was last looked inside, as a local date, and by whom.

    A look is an entry whose detail says `looked_inside` and that was not reversed.
    """
    entry = (
        Entry.objects.filter(kit=kit, detail__looked_inside=True, reversed_by__isnull=True)
        .order_by("-occurred_at", "-id")
        .first()
    )
    if entry is None:
        return None, None
    return clock.local_date(entry.occurred_at, kit.home_room.time_zone), entry.person_id


def rewrite_looks(kit: Kit) -> None:
    """Store again when and by whom a kit was last looked inside."""
    kit.looked_inside_on, kit.looked_inside_by_id = last_look(kit)
    kit.save(update_fields=["looked_inside_on", "looked_inside_by"])


def to_sort_since(kit: Kit) -> datetime | None:
    """Since when a kit waits to be sorted: from being handed back other than sealed, or else woken
    or found, until it was looked inside, restocked or sealed whole; acts taken back left out."""
    first: datetime | None = None
    acts = Entry.objects.filter(
        kit=kit, kind__in=(*_SORTED, *_WAITS), reversed_by__isnull=True
    ).order_by("-id")
    for entry in acts.iterator(chunk_size=50):
        if entry.kind in _SORTED:
            if entry.detail.get("section") is None:
                return first
        elif Broken.OUT_OF_ORDER in entry.irregular:
            continue
        elif entry.kind == EntryKind.CHECK_IN:
            if entry.detail["as_found"] != AsFound.SEALED:
                return entry.occurred_at
        elif entry.kind == EntryKind.WAKE or entry.detail["lost_since"] is not None:
            first = entry.occurred_at
    return first


def lost_since(kit: Kit) -> datetime | None:
    """Since when a kit cannot be found: from its first report after it was last found."""
    first: datetime | None = None
    acts = Entry.objects.filter(
        kit=kit, kind__in=(EntryKind.LOST, EntryKind.FOUND), reversed_by__isnull=True
    ).order_by("-id")
    for entry in acts.iterator(chunk_size=50):
        if entry.kind == EntryKind.FOUND:
            return first
        first = entry.occurred_at
    return first
