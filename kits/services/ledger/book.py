"""The stock book being written: one act, one transaction, one entry (or a few) with its legs.

A `Book` is open for the length of an act. What is written through it is all there afterwards or
not at all; when it closes, every kit it locked has its stored dates rewritten. Only `Book.post`
writes movements, and a kit that is moved into or out of must be locked. Locks are taken in one
order: kits ascending, then batches ascending, then (lot, place) ascending. A batch that is locked
moves nowhere, so whoever has to know all of where it is asks `hold`.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from types import TracebackType
from typing import Self

from django.db import connection, transaction
from django.db.models import F, Max, Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Refused, Unacceptable
from gearroom.core.models import Room
from gearroom.core.rules.grouping import summed
from kits.models import (
    Checkout,
    Entry,
    EntryKind,
    Holding,
    Kit,
    Lot,
    LotFact,
    Movement,
    Place,
    PlaceKind,
    Seal,
    Trip,
)
from kits.models.details import Detail
from kits.rules.ledger import ReasonCode, Settled, settle
from kits.services.ledger import act_events, facts, lots, readiness


@dataclass(frozen=True)
class Leg:
    """Units of a lot to go from one place to another. `assumed`: nobody named the lot."""

    lot: Lot
    source: Place
    target: Place
    units: int
    assumed: bool = False

    @property
    def changes(self) -> list[tuple[tuple[int, int], int]]:
        """What it changes in the inner places, by lot and place."""
        ends = ((self.source, -self.units), (self.target, self.units))
        return [((self.lot.pk, place.pk), units) for place, units in ends if place.inner]


class Book:
    """One act being written. Use as a context manager; see the module's text."""

    def __init__(self, act: Act) -> None:
        self.act = act
        self.entries: list[Entry] = []
        self._kits: dict[int, Kit] = {}
        self._atomic = transaction.atomic()

    def __enter__(self) -> Self:
        self._atomic.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if error is None:
                holds = facts.write(self.entries)
                undoing = any(entry.kind == EntryKind.REVERSE for entry in self.entries)
                readiness.rewrite(self._kits, undoing=undoing)
                act_events.write(self.entries, self._kits, holds)
        except BaseException as failed:
            self._atomic.__exit__(type(failed), failed, failed.__traceback__)
            raise
        self._atomic.__exit__(kind, error, trace)

    def lock(self, *kit_ids: int) -> list[Kit]:
        """The kits' rows, locked in ascending order and fresh; each is judged again at the end."""
        self._kits |= {
            kit.pk: kit
            for kit in Kit.objects.select_for_update(of=("self",))
            .select_related("room", "home_room", "list_version")
            .defer("list_version__signed_page")
            .filter(pk__in=set(kit_ids))
            .order_by("pk")
        }
        return [self._kits[pk] for pk in kit_ids]

    def hold(
        self, kits: Callable[[], Iterable[int]], batches: Callable[[], Iterable[int]]
    ) -> dict[int, Lot]:
        """Lock the kits and batches (ids) that two functions find; the batches by id, fresh.

        While it waits for a lock others may put a batch into one more kit. No kit is locked after
        a batch, so it lets go of what it locked here and begins again with that kit; once both
        find nothing new, nothing of it moves until the act ends.
        """
        known: set[int] = set()
        while True:
            known |= set(kits())
            with transaction.atomic():  # rolling back to here lets go of its locks
                self.lock(*known)
                held = {row.pk: row for row in lots.held_still(batches())}
                if set(kits()) <= known and set(batches()) <= held.keys():
                    return held
                transaction.set_rollback(True)

    @property
    def locked(self) -> list[int]:
        """The ids of the kits that are locked."""
        return sorted(self._kits)

    def post(
        self,
        kind: EntryKind,
        legs: Sequence[Leg] = (),
        *,
        kit: Kit | None = None,
        lot: Lot | None = None,
        room: Room | None = None,
        trip: Trip | None = None,
        checkout: Checkout | None = None,
        incident: str = "",
        reason: str = "",
        irregular: Iterable[ReasonCode] = (),
        detail: Detail | None = None,
        reverses: Entry | None = None,
        again: Entry | None = None,
    ) -> Entry:
        """Write one entry with its legs, move the holdings, break the seals it goes through.

        With `reverses` it puts that entry right; with `again` it adds to a count or a sweep what
        that comes to without an act that was undone. Both are dated at that entry and break no
        seal. Raises Refused (`not-enough`) where a place does not hold what a leg takes from it,
        Unacceptable (`key-reused`) where somebody else wrote under the key of the act.
        """
        now = clock.now()
        earlier = reverses or again
        occurred_at, offset_s, claimed_at = self._when(earlier, now)
        of_the_key = Entry.objects.filter(key=self.act.key).order_by()
        under_key = list(of_the_key.values_list("person", flat=True))
        if any(person != (self.act.person.pk if self.act.person else None) for person in under_key):
            raise Unacceptable(
                "key-reused",
                _(
                    "This Idempotency-Key has already been used for another request. Use a new "
                    "UUID for a new request."
                ),
            )
        sender = self.act.actor.through and self.act.actor.through.person
        entry = Entry.objects.create(
            kind=kind,
            kit=kit,
            lot=lot,
            room=room or (kit.room if kit else None) or self.act.room,
            trip=trip,
            checkout=checkout,
            person=self.act.person,
            key=self.act.key,
            part=len(under_key),
            occurred_at=occurred_at,
            recorded_at=now,
            claimed_at=claimed_at,
            clock_offset_s=offset_s,
            reason=reason or self.act.reason,
            incident=incident,
            irregular=sorted({str(code) for code in irregular}),
            detail={
                **(detail or {}),
                **({"again": again.pk} if again else {}),
                **({"handed_over_by": sender.pk} if sender else {}),
            },
            reverses=reverses,
        )
        self.entries.append(entry)
        if legs:
            self._move(entry, legs)
            if earlier is None:
                self.break_seals(entry, {p for leg in legs for p in (leg.source, leg.target)})
        return entry

    def claim(self) -> datetime | None:
        """When the act is claimed to have happened, put right for the device's clock and not
        after it was received; None where nobody claims a time."""
        return self._settled(clock.now(), None).claimed_at

    def is_late(self, kit: Kit, section: Place | None = None) -> bool:
        """Whether the act is claimed for before the latest known change of hands of a locked kit,
        or of a section of it: then it is history."""
        hands = self.since_claim(kit).filter(kind__in=facts.HANDS)
        of = section.section_key if section else None
        return any(facts.section_key(entry) == of for entry in hands.only("detail"))

    def since_claim(self, kit: Kit) -> QuerySet[Entry]:
        """The acts on a kit, but for those taken back, that are of later than this act is claimed
        for; none where nobody claims a time."""
        if (claim := self.claim()) is None:
            return Entry.objects.none()
        since = Q(claimed_at__gt=claim) | Q(claimed_at=None, occurred_at__gt=claim)
        return Entry.objects.filter(since, kit=kit, reversed_by=None)

    def _when(self, earlier: Entry | None, now: datetime) -> tuple[datetime, int, datetime | None]:
        # A mistake is put right as of when it was made, so that what is known now of any day
        # since is without it; what was known then keeps it, by `recorded_at`.
        if earlier is not None:
            return earlier.occurred_at, 0, None
        last = None
        if self._kits and self.act.claimed_at is not None:
            rows = Entry.objects.filter(kit__in=self._kits)
            last = rows.aggregate(last=Max("occurred_at"))["last"]
        settled = self._settled(now, last)
        # A reset clock may be off by more than the column holds, which is 68 years.
        offset_s = max(-(2**31) + 1, min(settled.offset_seconds, 2**31 - 1))
        return settled.occurred_at, offset_s, settled.claimed_at

    def _settled(self, now: datetime, last: datetime | None) -> Settled:
        return settle(
            claimed=self.act.claimed_at,
            device_now=self.act.device_now,
            received_at=min(self.act.received_at, now),
            last_entry_at=last,
        )

    def _move(self, entry: Entry, legs: Sequence[Leg]) -> None:
        lots.held_still(leg.lot.pk for leg in legs)  # nobody corrects or counts them meanwhile
        change = summed(each for leg in legs for each in leg.changes)
        for (lot_id, place_id), units in sorted(change.items()):
            if units < 0:
                self._take(lot_id, place_id, -units)
            elif units > 0:
                _add(lot_id, place_id, units)
        places = {place for leg in legs for place in (leg.source, leg.target)}
        if unlocked := {place.kit_id for place in places} - {None, *self._kits}:
            raise RuntimeError(f"kits {unlocked} are moved into or out of without a lock on them")
        rooms = _rooms_of(places)
        Movement.objects.bulk_create(
            Movement(
                entry=entry,
                lot=leg.lot,
                from_place=leg.source,
                to_place=leg.target,
                from_room_id=rooms[leg.source.pk],
                to_room_id=rooms[leg.target.pk],
                units=leg.units,
                lot_assumed=leg.assumed,
            )
            for leg in legs
        )
        _write_facts(entry, {leg.lot.pk for leg in legs})

    def _take(self, lot_id: int, place_id: int, units: int) -> None:
        row = Holding.objects.filter(lot_id=lot_id, place_id=place_id)
        if not row.filter(units__gte=units).update(units=F("units") - units):
            held = row.values_list("units", flat=True).first() or 0
            lot = Lot.objects.select_related("item").get(pk=lot_id)
            raise Refused(
                "not-enough",
                _(
                    "The record for %(place)s shows %(held)s × %(item)s, batch %(what)s, but "
                    "%(units)s would be removed. If there are more, count the place first."
                )
                % {
                    "held": held,
                    "item": lot.item.name,
                    "what": lot.number or _("without a number"),
                    "place": Place.objects.get(pk=place_id).name,
                    "units": units,
                },
                lot=lot_id,
                place=place_id,
                held=held,
                asked=units,
            )

    def break_seals(self, entry: Entry, places: Iterable[Place]) -> None:
        """Break every seal on the kits' sections among these places and on the kits they belong
        to, and write that they were opened."""
        sections = [p for p in places if p.kind == PlaceKind.SECTION and p.kit_id]
        if not sections:
            return
        Seal.objects.unbroken().filter(
            Q(section__in=sections)
            | Q(section__isnull=True, kit__in={place.kit_id for place in sections})
        ).update(broken=entry)
        facts.sections_opened(entry, sections)


@contextmanager
def kit_book(
    act: Act, kit: Kit, *others: Kit, here: str = "", home: str = ""
) -> Iterator[tuple[Book, Kit]]:
    """A book open for an act on one kit, with the kit locked and fresh, and others locked too.
    Raises NotAllowed without the right to a use case in the room where the kit is (`here`) or is
    at home (`home`)."""
    with Book(act) as book:
        kit = book.lock(*(each.pk for each in (kit, *others)))[0]
        for use_case, room in ((here, kit.room_id), (home, kit.home_room_id)):
            if use_case:
                act.actor.require(use_case, room)
        yield book, kit


def _add(lot_id: int, place_id: int, units: int) -> None:
    # An increment may meet another's first row for the same lot and place, so it is one statement.
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO kits_holding (lot_id, place_id, units) VALUES (%s, %s, %s) "
            "ON CONFLICT (lot_id, place_id) "
            "DO UPDATE SET units = kits_holding.units + excluded.units",
            [lot_id, place_id, units],
        )


def _write_facts(entry: Entry, lot_ids: set[int]) -> None:
    """Write what each batch is believed to be, where that is not what was last written of it: so
    every batch that ever moved has its facts, from the entry that first moved it on."""
    written = {
        fact.lot_id: (fact.number, fact.expiry)
        for fact in LotFact.objects.filter(lot__in=lot_ids).order_by("id")
    }
    LotFact.objects.bulk_create(
        LotFact(lot=lot, entry=entry, number=lot.number, expiry=lot.expiry)
        for lot in Lot.objects.filter(pk__in=lot_ids).order_by("pk")
        if written.get(lot.pk) != (lot.number, lot.expiry)
    )


def _rooms_of(places: Collection[Place]) -> dict[int, int | None]:
    """The room each place is in now: its own, or the one its kit is in."""
    kit_rooms = dict(
        Kit.objects.filter(pk__in={p.kit_id for p in places if p.kit_id}).values_list(
            "pk", "room_id"
        )
    )
    return {p.pk: kit_rooms[p.kit_id] if p.kit_id else p.room_id for p in places}


def outer(kind: PlaceKind) -> Place:
    """The organisation's one place of an outer kind."""
    return Place.objects.get(kind=kind, room__isnull=True, kit__isnull=True)


def room_place(room: Room, kind: PlaceKind) -> Place:
    """A room's quarantine, training box or incoming transit, made when first needed."""
    place, _ = Place.objects.get_or_create(
        room=room, kind=kind, defaults={"name": f"{PlaceKind(kind).label}, {room.name}"}
    )
    return place
