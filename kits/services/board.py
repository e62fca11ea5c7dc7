"""The board of one gear room: what goes out, what comes back, what waits to be sorted, and what
needs a hand. The number of queries does not grow with the kits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Sum

from gearroom.core import clock
from gearroom.core.models import Person, Room
from kits.models import Checkout, Entry, Kit, Reservation, Trip, WithheldKind, Withholding
from kits.rules.facts import KitState, Reason, Verdict
from kits.rules.readiness import judge
from kits.services import fitness, stocking
from kits.services.custody import end_of_day
from kits.services.reservations import open_reservations
from kits.services.stocking import Stocked

MOST_NEEDING_A_HAND = 40
"""Lines of that kind that the board shows; the rest is counted."""


_OF_A_RETURN = (
    "due_at",
    "kit__name",
    "section__name",
    "person__name",
    "person__phone",
    "trip__name",
)
"""What a line of what comes back says: rows are wide and a day has many."""


@dataclass(frozen=True)
class Waiting:
    """A kit that has still to go out for a trip: to whom, and how it stands through the last
    day."""

    kit: Kit
    person: Person | None
    verdict: Verdict


@dataclass(frozen=True)
class Departure:
    """A trip that leaves today or tomorrow, or has left without all its kits. `gone`: kits that
    went; none gone and none waiting: no kit is promised to it."""

    trip: Trip
    waiting: Sequence[Waiting]
    gone: int


@dataclass(frozen=True)
class Return:
    """A kit that is out and due; `late`: the due time has passed."""

    checkout: Checkout
    late: bool


@dataclass(frozen=True)
class ToSort:
    """A kit that was handed back and waits; `drying`: it was wet."""

    kit: Kit
    drying: bool


@dataclass(frozen=True)
class NeedsHand:
    """A kit that stands in the room and is not fit today, with the worst reason."""

    kit: Kit
    reason: Reason


@dataclass(frozen=True)
class Board:
    """All four parts. `more_needing`: how many more need a hand than are listed; `low`: the things
    that are down to their order level here, the emptiest first; `empty`: the room has no kit."""

    room: Room
    today: date
    going_out: Sequence[Departure]
    coming_back: Sequence[Return]
    to_sort: Sequence[ToSort]
    needs_hand: Sequence[NeedsHand]
    more_needing: int
    low: Sequence[Stocked]
    empty: bool


def revision(room: Room) -> str:
    """What changes whenever the board may have: the book's last entry; how often kits of the room
    were judged anew, as a signature does without one; when a trip that leaves these days was
    changed; and the minute, since what is due becomes late by itself."""
    now = clock.now()
    near = (now - timedelta(days=2), now + timedelta(days=3))
    trips = Trip.objects.filter(room=room, departs_at__range=near)
    changed = trips.aggregate(changed=Max("changed_at"))["changed"]
    newest = Entry.objects.aggregate(newest=Max("id"))["newest"] or 0
    kits = Kit.objects.filter(Q(room=room) | Q(home_room=room))
    judged = kits.aggregate(judged=Sum("revision"))["judged"] or 0
    told = int(changed.timestamp() * 1000) if changed else 0
    return f"{room.pk}-{newest}-{judged}-{told}-{int(now.timestamp()) // 60}"


def board(room: Room) -> Board:
    """The board of a room, as of today and tomorrow there."""
    today = clock.today(room.time_zone)
    until = end_of_day(today + timedelta(days=1), room.time_zone)
    promised = list(
        open_reservations()
        .filter(
            Q(trip__room=room) | Q(kit__room=room),
            trip__cancelled_at__isnull=True,
            trip__departs_at__lte=until,
            trip__last_day__gte=today,
        )
        .select_related("kit", "trip__leader", "person")
        .prefetch_related("kit__home_room")
        .order_by("trip__departs_at", "trip", "kit__name")
    )
    went = Checkout.objects.filter(
        trip__in={row.trip_id for row in promised}, undone__isnull=True
    ).values_list("kit_id", "trip_id")
    gone: set[tuple[int, int | None]] = {(kit, trip) for kit, trip in went}
    sorting = list(_kits_in(room).filter(to_sort_since__isnull=False).order_by("to_sort_since"))
    drying = set(
        Withholding.objects.filter(
            kit__room=room,
            kit__to_sort_since__isnull=False,
            kind=WithheldKind.DRYING,
            released__isnull=True,
        ).values_list("kit_id", flat=True)
    )
    unfit = _unfit(room, today).filter(to_sort_since__isnull=True)
    hand = list(unfit.order_by("name")[:MOST_NEEDING_A_HAND])
    states = fitness.states({row.kit_id for row in promised} | {kit.pk for kit in hand})
    return Board(
        room=room,
        today=today,
        going_out=sorted(
            [*_departures(promised, gone, states), *_without_kits(room, today, until)],
            key=lambda each: each.trip.departs_at,
        ),
        coming_back=_returns(room, until),
        to_sort=[ToSort(kit, kit.pk in drying) for kit in sorting],
        needs_hand=_needing(hand, states, today),
        more_needing=unfit.count() - len(hand) if len(hand) == MOST_NEEDING_A_HAND else 0,
        low=_low(room),
        empty=not (promised or sorting or hand or _kits_in(room).exists()),
    )


def _low(room: Room) -> list[Stocked]:
    rows = [row for row in stocking.stocked([room]).get(room.pk, ()) if row.low]
    return sorted(rows, key=lambda row: (row.stock / row.level.units, row.item.name))


def _kits_in(room: Room) -> QuerySet[Kit]:
    """The kits in use that stand in the room, with what a line says of them."""
    out = Checkout.objects.filter(kit=OuterRef("pk"), section__isnull=True, in_at__isnull=True)
    kits = Kit.objects.filter(~Exists(out), room=room, retired_on__isnull=True)
    return kits.only("name", "to_sort_since")


def _unfit(room: Room, today: date) -> QuerySet[Kit]:
    """Kits that stand in the room and are not fit today (see `kits.rules.readiness.FitDays`)."""
    return _kits_in(room).filter(
        Q(fit_until__isnull=True) | Q(fit_until__lt=today) | Q(clear_until__lt=today),
        training=False,
        laid_up_since__isnull=True,
    )


def _departures(
    promised: Iterable[Reservation], gone: set[tuple[int, int | None]], states: dict[int, KitState]
) -> list[Departure]:
    by_trip: dict[int, list[Reservation]] = {}
    for row in promised:
        by_trip.setdefault(row.trip_id, []).append(row)
    found = []
    for rows in by_trip.values():
        trip = rows[0].trip
        waiting = [
            Waiting(row.kit, row.person or trip.leader, _judged(row, rows, states))
            for row in rows
            if (row.kit_id, row.trip_id) not in gone
        ]
        if waiting:
            found.append(Departure(trip, waiting, len(rows) - len(waiting)))
    return found


def _without_kits(room: Room, today: date, until: datetime) -> list[Departure]:
    """Trips that leave and to which no kit is promised."""
    promised = open_reservations().filter(trip=OuterRef("pk"))
    out = Checkout.objects.filter(trip=OuterRef("pk"), undone__isnull=True)
    trips = Trip.objects.filter(
        ~Exists(promised),
        ~Exists(out),
        room=room,
        cancelled_at__isnull=True,
        first_day__gte=today,
        departs_at__lte=until,
    )
    return [Departure(trip, (), 0) for trip in trips.order_by("departs_at", "pk")]


def _judged(
    row: Reservation, together: Iterable[Reservation], states: dict[int, KitState]
) -> Verdict:
    today = fitness.today_of(row.kit)
    return judge(
        states[row.kit_id],
        max(row.trip.last_day, today),
        today,
        trip=fitness.needs_of(row.trip),
        others=[states[other.kit_id] for other in together if other.kit_id != row.kit_id],
    )


def _returns(room: Room, until: object) -> list[Return]:
    now = clock.now()
    rows = (
        Checkout.objects.filter(
            Q(kit__room=room) | Q(kit__home_room=room), in_at__isnull=True, due_at__lte=until
        )
        .select_related("kit", "section", "person", "trip")
        .only(*_OF_A_RETURN)
        .order_by("due_at", "kit__name")
    )
    return [Return(row, row.due_at < now) for row in rows]


def _needing(kits: Iterable[Kit], states: dict[int, KitState], today: date) -> list[NeedsHand]:
    found = []
    for kit in kits:
        reasons = judge(states[kit.pk], today, today).reasons
        if reasons:
            found.append(NeedsHand(kit, reasons[0]))
    return sorted(found, key=lambda each: (-each.reason.weight, each.kit.name))
