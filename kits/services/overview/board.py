"""The board of one gear room: what goes out, what comes back, what waits to be sorted, and what
needs attention. The number of queries does not grow with the kits."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet, Sum

from gearroom.core import clock
from gearroom.core.models import Person, Room
from kits.models import (
    Checkout,
    Clearance,
    Entry,
    Kit,
    Reservation,
    Trip,
    WithheldKind,
    Withholding,
)
from kits.rules.ledger import DAYS_AHEAD, Verdict
from kits.rules.trips.trips import Coverage, Stand
from kits.services.custody import clearances, returns
from kits.services.overview.attention import Attention, Expiring, expiring, needing
from kits.services.restocking import recounts
from kits.services.stock import away
from kits.services.stock.away import UnitsAway
from kits.services.stock.order_levels import stock_levels
from kits.services.trips import trip_readiness
from kits.services.weather import jobs as weather_jobs
from kits.services.weather.jobs import WeatherJob

MOST_NEEDING_ATTENTION = 40
"""Lines of that kind that the board shows; the rest is counted."""


_OF_A_RETURN = (
    "due_at",
    "kit__name",
    "section__name",
    "person__name",
    "person__phone",
    "trip__name",
    "trip__room",
    "trip__returns_at",
    "trip__cancelled_at",
)
"""What a line of what comes back says: rows are wide and a day has many."""

_OF_A_KIT = (
    "name",
    "to_sort_since",
    "contents_entered",
    "ready_until",
    "fit_until",
    "may_go_until",
    "clear_until",
    "first_expiry",
    "home_room__time_zone",
)


@dataclass(frozen=True)
class Waiting:
    """A kit that has still to go out for a trip: to whom, its verdict for that day and trip, and
    how it stands to the trip. `elsewhere`: who has it on something else."""

    kit: Kit
    person: Person | None
    verdict: Verdict
    stand: Stand
    elsewhere: Checkout | None = None


@dataclass(frozen=True)
class Departure:
    """A trip that leaves today or tomorrow, or has left, and has not all that it needs. `waiting`:
    its kits that have still to go; none, and none of them went: no kit is promised to it."""

    judged: trip_readiness.JudgedTrip
    waiting: Sequence[Waiting]


@dataclass(frozen=True)
class Return:
    """A kit that is out; `late`: its due time has passed."""

    checkout: Checkout
    late: bool

    def due_by(self, then: datetime) -> bool:
        """Whether it is due by an instant."""
        return self.checkout.due_at is not None and self.checkout.due_at <= then


@dataclass(frozen=True)
class ToSort:
    """A kit that was handed back and waits; `drying`: it was wet; `count`: nobody said in time what
    was used, so it is to be counted; `not_ours`: a participant's own thing is still in it."""

    kit: Kit
    drying: bool
    count: bool = False
    not_ours: bool = False


@dataclass(frozen=True)
class Board:
    """All parts. `all_gone`: trips leave today or tomorrow, and every kit for them went; `all_out`:
    and is still out on them; `uncovered` and `waiting`: the trips that leave after that, within a
    week, and have not all that they need. `soon_back` and `later_back`: what is out of the room or
    at home there, due by tomorrow or late, and the rest, the soonest due first, those without a due
    time last. `needing`: the kits that stand in the room and need attention, but for those that
    wait to be sorted. `low`: the things that are down to their order level here, the emptiest
    first; `uncleared`: kits that went as cleared by phone, and whoever is named has not confirmed
    it within a day; `mixed`: kits to count together, which stand in none of the other parts;
    `not_ours`: other kits here that a participant's own thing is in; `away`: what went with a
    casualty and may come back; `expiring`: what goes out of date soon and is beside no kit above;
    `weather`: what has to be moved for the weather; `none_here`: no kit stands here that could
    go; `empty`: the room has no kit."""

    room: Room
    today: date
    going_out: Sequence[Departure]
    all_gone: bool
    all_out: bool
    uncovered: Sequence[trip_readiness.JudgedTrip]
    waiting: Sequence[trip_readiness.JudgedTrip]
    soon_back: Sequence[Return]
    later_back: Sequence[Return]
    to_sort: Sequence[ToSort]
    needing: Attention
    low: Sequence[stock_levels.ItemLevel]
    uncleared: Sequence[Clearance]
    mixed: Sequence[recounts.CountJob]
    not_ours: Sequence[Kit]
    away: Sequence[UnitsAway]
    expiring: Expiring
    weather: Sequence[WeatherJob]
    none_here: bool
    empty: bool

    @property
    def all_ready(self) -> bool:
        """Kits stand here, and every one of them is ready, or at most low."""
        waits = self.to_sort or self.mixed or self.needing.listed or self.needing.not_set_up
        return not (waits or self.none_here or self.empty)


def revision(room: Room) -> str:
    """What changes whenever the board may have: the book's last entry; how often kits of the room
    were judged anew, as a signature does without one; when a trip that leaves within a week was
    changed; and the minute, since what is due becomes late by itself."""
    now = clock.now()
    near = (now - timedelta(days=2), now + timedelta(days=DAYS_AHEAD + 2))
    trips = Trip.objects.filter(room=room, departs_at__range=near)
    changed = trips.aggregate(changed=Max("changed_at"))["changed"]
    newest = Entry.objects.aggregate(newest=Max("id"))["newest"] or 0
    kits = Kit.objects.filter(Q(room=room) | Q(home_room=room))
    judged = kits.aggregate(judged=Sum("revision"))["judged"] or 0
    trip_changed = int(changed.timestamp() * 1000) if changed else 0
    return f"{room.pk}-{newest}-{judged}-{trip_changed}-{int(now.timestamp()) // 60}"


def board(room: Room) -> Board:
    """The board of a room, as of today and tomorrow there."""
    today = clock.today(room.time_zone)
    until = clock.end_of_day(today + timedelta(days=1), room.time_zone)
    week = trip_readiness.judge_trips(_near(room, until + timedelta(days=DAYS_AHEAD - 1)))
    trips = [each for each in week if each.trip.departs_at <= until]
    later = [each for each in week if each.trip.departs_at > until]
    going_out = [each for each in (_departure(each, room) for each in trips) if each is not None]
    sorting = list(_kits_in(room).filter(to_sort_since__isnull=False).order_by("to_sort_since"))
    drying = set(
        Withholding.objects.open()
        .filter(kit__room=room, kit__to_sort_since__isnull=False, kind=WithheldKind.DRYING)
        .values_list("kit_id", flat=True)
    )
    here = list(
        _kits_in(room).filter(
            training=False, laid_up_since__isnull=True, to_sort_since__isnull=True
        )
    )
    out = _out(room)
    served = [each for each in trips if each.coverage is Coverage.COVERED]
    jobs = recounts.jobs([*sorting, *here], clock.now())
    together = {kit.pk for job in jobs if job.mixed for kit in job.kits}
    alone = {kit.pk for job in jobs if not job.mixed for kit in job.kits}
    theirs = returns.ids_with_own(kit.pk for kit in [*sorting, *here])
    sorting_ids = {kit.pk for kit in sorting} - together
    needs = needing([kit for kit in here if kit.pk not in together], MOST_NEEDING_ATTENTION, week)
    # Beside these stands already what in them goes out of date first.
    named = {row.kit.pk for each in going_out for row in each.waiting}
    named |= {each.kit.pk for each in needs.listed}
    return Board(
        room=room,
        today=today,
        going_out=going_out,
        all_gone=not going_out and bool(served),
        all_out=not going_out and bool(served) and not any(each.where.back for each in served),
        uncovered=[each for each in later if each.coverage is Coverage.UNCOVERED],
        waiting=[each for each in later if each.coverage is Coverage.WAITING],
        soon_back=[each for each in out if each.due_by(until)],
        later_back=[each for each in out if not each.due_by(until)],
        to_sort=[
            ToSort(kit, kit.pk in drying, kit.pk in alone, kit.pk in theirs)
            for kit in sorting
            if kit.pk not in together
        ],
        needing=needs,
        low=_low(room),
        uncleared=clearances.unanswered(Kit.objects.filter(home_room=room), clock.now()),
        mixed=[job for job in jobs if job.mixed],
        not_ours=[
            kit for kit in [*sorting, *here] if kit.pk in theirs and kit.pk not in sorting_ids
        ],
        away=away.in_rooms([room.pk]),
        expiring=expiring(room, today, named),
        weather=weather_jobs.of_room(room, today),
        none_here=not (sorting or here),
        empty=not (week or sorting or here or out or _kits_in(room).exists()),
    )


def _low(room: Room) -> list[stock_levels.ItemLevel]:
    return sorted(
        [row for row in stock_levels.stocked([room]).get(room.pk, ()) if row.low],
        key=lambda row: (row.stock / row.level.units, row.item.name),
    )


def _kits_in(room: Room) -> QuerySet[Kit]:
    """The kits in use that stand in the room, with what a line says of them."""
    out = Checkout.objects.open().of_whole_kits().filter(kit=OuterRef("pk"))
    return (
        Kit.objects.active()
        .filter(~Exists(out), room=room)
        .only(*_OF_A_KIT)
        .select_related("home_room")
    )


def _near(room: Room, until: datetime) -> QuerySet[Trip]:
    """The trips that leave the room, or that kits in it are promised to, by then and have not
    ended."""
    kits = Reservation.objects.promised().filter(kit__room=room).values("trip")
    return (
        Trip.objects.filter(
            Q(room=room) | Q(pk__in=kits),
            cancelled_at__isnull=True,
            departs_at__lte=until,
            returns_at__gt=clock.now(),
        )
        .select_related("room", "leader", "calendar_event")
        .order_by("departs_at", "pk")
    )


def _departure(judged: trip_readiness.JudgedTrip, room: Room) -> Departure | None:
    """What is still to do for a trip; None where it has all that it needs, or has ended. Who goes
    is named in the room that it leaves from or that the kit is of."""
    if judged.coverage is None:
        return None
    waiting = [
        Waiting(
            row.kit,
            row.person if room.pk in (judged.trip.room_id, row.kit.home_room_id) else None,
            row.verdict,
            row.stand,
            row.elsewhere,
        )
        for row in judged.kits
        if row.reservation is not None
        and row.verdict is not None
        and row.stand not in (None, Stand.OUT_ON_IT, Stand.BACK)
    ]
    if judged.where.gone and not waiting and judged.coverage is Coverage.COVERED:
        return None
    return Departure(judged, waiting)


def _out(room: Room) -> list[Return]:
    now = clock.now()
    rows = (
        Checkout.objects.open()
        .filter(Q(kit__room=room) | Q(kit__home_room=room))
        .select_related("kit", "section", "person", "trip")
        .only(*_OF_A_RETURN)
        .order_by(F("due_at").asc(nulls_last=True), "kit__name")
    )
    return [Return(row, row.due_at is not None and row.due_at < now) for row in rows]
