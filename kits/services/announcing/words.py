"""The word on every kit, trip and item of stock as it is now, with the event that would announce
it. The number of statements does not grow with them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

from gearroom.core.models import Room
from gearroom.core.rules.grouping import summed
from kits.models import Announced, Checkout, Kit, Trip
from kits.rules.events import facts, stored
from kits.rules.trips.trips import Coverage
from kits.services.events import Draft
from kits.services.ledger import verdicts
from kits.services.ledger.verdicts import Judged
from kits.services.stock.order_levels import stock_levels
from kits.services.trips import trip_readiness
from kits.services.trips.trip_readiness import JudgedTrip

LOW, ENOUGH = "low", "enough"


@dataclass(frozen=True)
class Word:
    """What is so of a subject of some kind, in a word. `draft` makes the event that announces it,
    from the word before; None: it is only to be remembered. `unless`: see
    `kits.rules.events.changes`."""

    kind: str
    subject: str
    word: str
    draft: Callable[[str | None], Draft] | None = None
    unless: str | None = None


def overdue(now: datetime) -> Iterator[Word]:
    """What is out past the time that it was due at."""
    rows = Checkout.objects.open().filter(due_at__lte=now).select_related("kit", "section")
    for row in rows.order_by("due_at", "id"):
        due_at = row.due_at or now
        data = facts.Overdue(
            kit=row.kit_id,
            section=row.section.section_key if row.section is not None else None,
            checkout=row.pk,
            holder=row.person_id,
            trip=row.trip_id,
            due_at=due_at,
        )
        draft = Draft("kit.overdue", row.kit_id, data, due_at, *_rooms_of(row.kit))
        yield Word("overdue", str(row.pk), stored.instant(due_at), _always(draft))


def kits(now: datetime) -> Iterator[Word]:
    """How every kit in use stands, by the question that every surface judges it by."""
    rows = list(
        Kit.objects.filter(retired_on=None).select_related("home_room", "room").order_by("pk")
    )
    judged = verdicts.judged(rows)
    for kit in rows:
        yield _of_kit(kit, judged[kit.pk], now)


def _of_kit(kit: Kit, judged: Judged, now: datetime) -> Word:
    to, word = judged.question, judged.verdict.word.value

    def draft(before: str | None) -> Draft:
        trip = to.trip.pk if to.trip is not None else None
        data = facts.Readiness(kit.pk, word, before, to.through, trip)
        return Draft("kit.readiness_changed", kit.pk, data, now, *_rooms_of(kit))

    return Word("kit", str(kit.pk), word, draft)


def trips(now: datetime) -> Iterator[Word]:
    """Whether each trip that is not over or cancelled is covered."""
    rows = Trip.objects.filter(cancelled_at=None, returns_at__gt=now).order_by("pk")
    for judged in trip_readiness.judge_trips(rows.select_related("room", "leader")):
        if judged.coverage is not None:
            yield _of_trip(judged, judged.coverage, now)


def _of_trip(judged: JudgedTrip, coverage: Coverage, now: datetime) -> Word:
    trip = judged.trip
    together = tuple(
        sorted(row.kit.pk for row in judged.kits if row.reservation is not None or row.on_it)
    )

    def draft(before: str | None) -> Draft:
        data = facts.TripCoverage(trip.pk, coverage, before or Coverage.UNCOVERED, together)
        return Draft(f"trip.{coverage}", trip.pk, data, now, trip.room_id)

    return Word("trip", str(trip.pk), coverage, draft, unless=Coverage.UNCOVERED)


def stock(now: datetime) -> Iterator[Word]:
    """Whether each item in each room is down to its order level. One that was low and is not
    stocked there any more is low no longer."""
    rooms = list(Room.objects.order_by("pk"))
    held, _shelves = stock_levels.on_shelves(room.pk for room in rooms)
    low = set(Announced.objects.filter(kind="stock", word=LOW).values_list("subject", flat=True))
    for rows in stock_levels.stocked(rooms, shelves=held).values():
        for row in rows:
            data = facts.Stock(row.room.pk, row.item.pk, row.stock, row.on_order, row.level.units)
            word = _of_stock(data, now, LOW if row.low else ENOUGH)
            low.discard(word.subject)
            yield word
    counts = summed(
        ((room, row.batch.thing.id), row.count) for room, rows in held.items() for row in rows
    )
    for subject in sorted(low):
        room, item = map(int, subject.split(":"))
        yield _of_stock(facts.Stock(room, item, counts[room, item], 0, 0), now, ENOUGH)


def _of_stock(data: facts.Stock, now: datetime, word: str) -> Word:
    subject = f"{data.room}:{data.item}"
    draft = Draft(f"stock.{word}", subject, data, now, data.room)
    return Word("stock", subject, word, _always(draft), unless=ENOUGH)


def _always(draft: Draft) -> Callable[[str | None], Draft]:
    """The same event, whatever was so before."""
    return lambda _before: draft


def _rooms_of(kit: Kit) -> tuple[int, int]:
    """Where a kit is at home, and where it is."""
    return kit.home_room_id, kit.room_id
