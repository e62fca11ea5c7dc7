"""State of a kit that follows from its entries, worked out from them: for writing it again and for
the audit."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import NamedTuple

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import store
from kits.models import AsFound, Entry, EntryKind, Kit
from kits.models.details import BuildDetail, CheckInDetail, KitDetail, ResealDetail
from kits.services.ledger import facts
from kits.services.text import wording

_MAY_SORT = (
    EntryKind.LOOK_INSIDE,
    EntryKind.RESTOCK,
    EntryKind.COUNT,
    EntryKind.BUILD,
    EntryKind.RESEAL,
)
CLOSED = (AsFound.SEALED, AsFound.CLOSED)
"""How a kit comes back that nobody opened: its contents are what they were."""

_PRESENT = (*facts.HANDS, EntryKind.FOUND)
"""The acts that prove that a kit is not lost."""


def has_left(kit: Kit) -> bool:
    """Whether a kit was sold or given away, as it stands now."""
    return Entry.objects.filter(kit=kit, kind=EntryKind.LEAVE, reversed_by__isnull=True).exists()


def out_of_use(kit: Kit) -> str:
    """That a kit was retired, sold or given away, and when; empty where it is in use."""
    if kit.retired_on is None:
        return ""
    sentence = (
        _("%(kit)s was sold or given away on %(day)s.")
        if has_left(kit)
        else _("%(kit)s was retired on %(day)s.")
    )
    return sentence % {"kit": kit.name, "day": wording.day(kit.retired_on)}


def retired_on(kit: Kit) -> date | None:
    """Since when a kit is out of use: retired by hand, or sold or given away as it stands now."""
    if not Entry.objects.filter(kit=kit, kind=EntryKind.LEAVE).exists():
        return kit.retired_on
    entry = (
        Entry.objects.filter(
            Q(kind=EntryKind.LEAVE) | Q(kind=EntryKind.KIT, detail__what="retired"),
            kit=kit,
            reversed_by__isnull=True,
        )
        .order_by("id")
        .first()
    )
    return clock.local_date(entry.occurred_at, kit.home_room.time_zone) if entry else None


def iso(when: date | None) -> str | None:
    """A day or an instant as an entry's detail keeps it."""
    return when.isoformat() if when else None


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


def sorted_now(kit: Kit) -> None:
    """Let a kit wait no longer to be sorted, in the transaction of the entry that says so."""
    store(kit, to_sort_since=None)
    rewrite_looks(kit)


def _ends_sorting(entry: Entry) -> bool:
    """Whether an act is the end of sorting: a look inside (or at a seal that is whole), and what
    says of itself that all contents were checked. In an earlier edition, whose entries do not say
    `ends_sorting`, a seal alone ended it and building a kit did not."""
    if entry.kind == EntryKind.RESEAL:
        whole = facts.section_key(entry) is None
        return whole and entry.detail_as(ResealDetail).get("ends_sorting", True)
    if entry.kind == EntryKind.BUILD:
        return entry.detail_as(BuildDetail).get("ends_sorting", False)
    return entry.kind == EntryKind.LOOK_INSIDE or bool(entry.detail.get("looked_inside"))


def _needs_sorting(detail: CheckInDetail) -> bool:
    """Whether a kit waits to be sorted once it is handed back."""
    return detail["as_found"] not in CLOSED and not detail.get("in_class", False)


class Waiting(NamedTuple):
    """Since when a kit cannot be found, and since when it waits to be sorted; None: it does not."""

    lost_since: datetime | None
    to_sort_since: datetime | None


def _acts(
    kit: Kit, kinds: Iterable[EntryKind], at: datetime | None, known_by: datetime | None
) -> QuerySet[Entry]:
    """A kit's acts of these kinds that had happened by then, without those taken back, as they were
    known by a time; None: now."""
    acts = Entry.objects.filter(kit=kit, kind__in=list(kinds))
    if known_by is None:
        acts = acts.filter(reversed_by__isnull=True)
    else:
        acts = acts.filter(recorded_at__lte=known_by).exclude(
            reversed_by__recorded_at__lte=known_by
        )
    return acts if at is None else acts.filter(occurred_at__lte=at)


def waiting(kit: Kit, at: datetime | None = None, known_by: datetime | None = None) -> Waiting:
    """What a kit waits for by its acts (`at`: by those that had happened by then; `known_by`: as
    they were known by then), those taken back left out.

    It is lost from its first report until it is found or changes hands: these acts prove that it
    is there, whether or not it was lost when they were written. It waits to be sorted from being
    handed back other than closed, or else woken or found after it was lost, until its contents were
    checked (see `_ends_sorting`).
    """
    lost: datetime | None = None
    to_sort: datetime | None = None
    kinds = (*_MAY_SORT, *_PRESENT, EntryKind.WAKE, EntryKind.LOST)
    for entry in _acts(kit, kinds, at, known_by).order_by("id").iterator(chunk_size=500):
        if facts.is_history(entry):
            continue
        if entry.kind == EntryKind.LOST:
            lost = lost or entry.occurred_at
        elif entry.kind in _MAY_SORT:
            to_sort = None if _ends_sorting(entry) else to_sort
        elif entry.kind == EntryKind.CHECK_IN and _needs_sorting(entry.detail_as(CheckInDetail)):
            to_sort = entry.occurred_at
        elif entry.kind == EntryKind.WAKE or lost:
            to_sort = to_sort or entry.occurred_at
        if entry.kind in _PRESENT:
            lost = None
    return Waiting(lost, to_sort)


def laid_up_since(
    kit: Kit, at: datetime | None = None, known_by: datetime | None = None
) -> datetime | None:
    """Since when a kit is put away for the season; None while it is in use. `at`: by the acts that
    had happened by then; `known_by`: as they were known by then."""
    acts = _acts(kit, (EntryKind.LAY_UP, EntryKind.WAKE), at, known_by)
    last = acts.order_by("-id").first()
    return last.occurred_at if last is not None and last.kind == EntryKind.LAY_UP else None


def room_id(kit: Kit) -> int:
    """The room that a kit is in: where it was handed back last, or moved home to since."""
    first: int | None = None
    for entry in (
        Entry.objects.filter(kit=kit, kind__in=(EntryKind.CHECK_IN, EntryKind.KIT))
        .order_by("-id")
        .select_related("reversed_by")
        .iterator(chunk_size=50)
    ):
        counts = not hasattr(entry, "reversed_by")
        if facts.is_history(entry):
            continue
        if entry.kind == EntryKind.CHECK_IN and facts.section_key(entry) is None:
            if counts and entry.room_id is not None:
                return entry.room_id
            first = entry.detail_as(CheckInDetail)["before"]["room"]
        elif entry.kind == EntryKind.KIT:
            moved = entry.detail_as(KitDetail)
            if moved["what"] == "moved-home":
                if counts:
                    return moved["after"][1]
                first = moved["before"][1]
    return kit.room_id if first is None else first
