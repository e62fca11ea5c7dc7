"""What kits' past trips wanted, from the record: uses, what was needed and not there, and how much
of it is known."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from kits.models import (
    AsFound,
    Checkout,
    Entry,
    EntryKind,
    Kit,
    Movement,
    PlaceKind,
    Trip,
    UnmetNeed,
)
from kits.models.details import CountDetail, FollowListDetail
from kits.rules.planning import shares
from kits.rules.planning.records.exposure import Known
from kits.rules.planning.shares import Most

_CLOSED = (AsFound.SEALED, AsFound.CLOSED)
_USED = (PlaceKind.USED, PlaceKind.AWAY)
"""Where units go that a need took: what was used in class goes elsewhere."""


@dataclass(frozen=True)
class PastTrip:
    """One kit on one trip that is over: `version` is that of the list which it followed then.

    `used` and `unmet` are units by item that were used, and times that an item was needed and not
    there; `own_words` is what else was, in the words of whoever noted it. `lost_at_count` are units
    by item that a count afterwards found missing: nobody said that they were used. `ran_out`: items
    of which all that was carried went.
    """

    checkout: int
    kit: int
    version: int
    trip: Trip
    known: Known
    used: Counter[int]
    unmet: Counter[int]
    own_words: Sequence[str]
    lost_at_count: Counter[int]
    ran_out: frozenset[int]

    @property
    def counts(self) -> bool:
        """Whether it is known what was wanted."""
        return self.known is not Known.MISSING

    def wanted(self) -> dict[int, int]:
        """Units by item that were wanted, as far as was recorded."""
        return dict(self.used + self.unmet)


def past_trips(kits: Iterable[Kit], before: datetime) -> list[PastTrip]:
    """What these kits' trips that were over by an instant wanted, oldest first: a number of queries
    that does not grow with trips or kits. Training kits and times out without a trip are left out.
    """
    by_id = {kit.pk: kit for kit in kits if not kit.training}
    outs = list(
        Checkout.objects.not_undone()
        .of_whole_kits()
        .filter(kit__in=by_id, trip__isnull=False, in_at__lt=before)
        .exclude(trip__cancelled_at__isnull=False)
        .select_related("trip__activity")
        .order_by("out_at", "id")
    )
    used = _used(outs)
    unmet, words = _unmet(outs)
    counts = _counts_after(outs)
    followed = _versions(by_id.values(), outs)
    carried = _carried(by_id, outs)
    found: list[PastTrip] = []
    for out in outs:
        taken, answered = used.get(out.pk, (Counter(), False))
        lost = counts.get(out.pk)
        known = _known(out, taken, answered=answered, counted=lost is not None)
        found.append(
            PastTrip(
                checkout=out.pk,
                kit=out.kit_id,
                version=followed[out.pk],
                trip=_trip_of(out),
                known=known,
                used=taken,
                unmet=unmet.get(out.pk, Counter()),
                own_words=words.get(out.pk, ()),
                lost_at_count=lost or Counter(),
                ran_out=frozenset(
                    item for item, units in taken.items() if units >= carried[out.pk][item] > 0
                ),
            )
        )
    return found


def usual_activity(kit: Kit, trips: Iterable[PastTrip]) -> Most | None:
    """The activity, by its number, that more than half of a kit's past trips had."""
    found = shares.most(Counter(t.trip.activity_id or 0 for t in trips if t.kit == kit.pk))
    return found if found and found.key else None


def _trip_of(out: Checkout) -> Trip:
    if out.trip is None:
        raise LookupError(f"checkout {out.pk} has no trip")
    return out.trip


def _known(out: Checkout, taken: Counter[int], *, answered: bool, counted: bool) -> Known:
    """How much is known of what a kit's trip took out of it."""
    if taken:
        return Known.COUNTED
    if out.as_found in _CLOSED or answered:
        return Known.NONE
    return Known.BETWEEN if counted else Known.MISSING


def _in_force() -> QuerySet[Entry]:
    return Entry.objects.filter(reversed_by__isnull=True)


def _used(outs: Sequence[Checkout]) -> dict[int, tuple[Counter[int], bool]]:
    """Units used by item for each checkout, and whether anybody said what was used at all."""
    entries = _in_force().filter(kind=EntryKind.USE, checkout__in=[out.pk for out in outs])
    found: dict[int, tuple[Counter[int], bool]] = {
        checkout or 0: (Counter(), True) for checkout in entries.values_list("checkout", flat=True)
    }
    legs = Movement.objects.filter(entry__in=entries, to_place__kind__in=_USED)
    for checkout, item, units in legs.values_list("entry__checkout", "lot__item", "units"):
        found[checkout][0][item] += units
    return found


def _unmet(outs: Sequence[Checkout]) -> tuple[dict[int, Counter[int]], dict[int, list[str]]]:
    """Times that an item was needed and not in the kit, for each checkout, and what else was."""
    items: dict[int, Counter[int]] = defaultdict(Counter)
    words: dict[int, list[str]] = defaultdict(list)
    rows = UnmetNeed.objects.filter(
        entry__checkout__in=[out.pk for out in outs],
        entry__reversed_by__isnull=True,
    ).order_by("id")
    for checkout, item, own in rows.values_list("entry__checkout", "item", "words"):
        if item is None:
            words[checkout].append(own)
        else:
            items[checkout][item] += 1
    return items, words


def _counts_after(outs: Sequence[Checkout]) -> dict[int, Counter[int]]:
    """What a whole count after each checkout, before the kit's next, found missing, by item; only
    checkouts after which there was one."""
    entries = list(
        _in_force()
        .filter(kind=EntryKind.COUNT, kit__in={out.kit_id for out in outs})
        .order_by("occurred_at", "id")
    )
    missing: dict[int, Counter[int]] = defaultdict(Counter)
    legs = Movement.objects.filter(
        entry__in=entries, from_place__kind=PlaceKind.SECTION, to_place__kind=PlaceKind.UNEXPLAINED
    )
    for entry, item, units in legs.values_list("entry", "lot__item", "units"):
        missing[entry][item] += units
    of_kit: dict[int, list[Entry]] = defaultdict(list)
    for counted in entries:
        if counted.kit_id and counted.detail_as(CountDetail).get("complete"):
            of_kit[counted.kit_id].append(counted)
    ends = _next_out(outs)
    found: dict[int, Counter[int]] = {}
    for out in outs:
        for counted in of_kit[out.kit_id]:
            if out.in_at and out.in_at <= counted.occurred_at < ends[out.pk]:
                found[out.pk] = missing[counted.pk]
                break
    return found


def _next_out(outs: Sequence[Checkout]) -> dict[int, datetime]:
    """When each checkout's kit went out again; the end of time where it has not."""
    found: dict[int, datetime] = {}
    later: dict[int, datetime] = {}
    for out in reversed(outs):
        found[out.pk] = later.get(out.kit_id, datetime.max.replace(tzinfo=out.out_at.tzinfo))
        later[out.kit_id] = out.out_at
    return found


def _versions(kits: Iterable[Kit], outs: Sequence[Checkout]) -> dict[int, int]:
    """The version of a list that each checkout's kit followed then: what the first later change
    replaced."""
    now = {kit.pk: kit.list_version_id for kit in kits}
    changes: dict[int, list[Entry]] = defaultdict(list)
    for change in (
        _in_force().filter(kind=EntryKind.FOLLOW_LIST, kit__in=now).order_by("occurred_at", "id")
    ):
        changes[change.kit_id or 0].append(change)
    found: dict[int, int] = {}
    for out in outs:
        later = next((c for c in changes[out.kit_id] if c.occurred_at > out.out_at), None)
        found[out.pk] = later.detail_as(FollowListDetail)["from"] if later else now[out.kit_id]
    return found


def _carried(kits: Iterable[int], outs: Sequence[Checkout]) -> dict[int, Counter[int]]:
    """Units by item that were in each checkout's kit when it went out, as the record has it."""
    legs = (
        Movement.objects.filter(Q(to_place__kit__in=kits) | Q(from_place__kit__in=kits))
        .order_by("entry__occurred_at", "id")
        .values_list("entry__occurred_at", "from_place__kit", "to_place__kit", "lot__item", "units")
    )
    inside: dict[int, Counter[int]] = defaultdict(Counter)
    found: dict[int, Counter[int]] = {}
    waiting = iter(outs)
    out = next(waiting, None)
    for at, left, entered, item, units in legs:
        while out is not None and out.out_at < at:
            found[out.pk] = Counter(inside[out.kit_id])
            out = next(waiting, None)
        if left:
            inside[left][item] -= units
        if entered:
            inside[entered][item] += units
    while out is not None:
        found[out.pk] = Counter(inside[out.kit_id])
        out = next(waiting, None)
    return found
