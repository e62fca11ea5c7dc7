"""The verdict that every surface shows of a kit, with the question it answers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from gearroom.core import clock
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.facts import KitState, Verdict
from kits.rules.question import DAYS_AHEAD, Coming, Out, question
from kits.rules.readiness import judge
from kits.services import fitness


@dataclass(frozen=True)
class Question:
    """Through which day a kit is judged, and for which trip, if for one."""

    through: date
    trip: Trip | None


@dataclass(frozen=True)
class Judged:
    """A kit's verdict, with the question that it answers and the kit as it was judged."""

    question: Question
    verdict: Verdict
    state: KitState


def judged(kits: Iterable[Kit]) -> dict[int, Judged]:
    """How each of these kits (with their home rooms) stands, by id; see `kits.rules.question`.
    The number of queries does not grow with the kits."""
    kits = list(kits)
    questions = questions_of(kits)
    return verdicts(kits, questions)


def judged_one(kit: Kit) -> Judged:
    """How one kit stands."""
    return judged([kit])[kit.pk]


def questions_of(kits: Iterable[Kit], at: datetime | None = None) -> dict[int, Question]:
    """The question that each of these kits is judged by, by the kit's id; as of an instant (None:
    now)."""
    kits, at = list(kits), at or clock.now()
    out = {
        held.kit_id: held
        for held in Checkout.objects.filter(
            kit__in=kits, section__isnull=True, in_at__isnull=True
        ).select_related("trip")
    }
    ahead = coming([kit for kit in kits if kit.pk not in out], at=at)
    found = {}
    for kit in kits:
        trips = {trip.pk: trip for trip in ahead[kit.pk]}
        held = out.get(kit.pk)
        if held is not None and held.trip is not None:
            trips[held.trip.pk] = held.trip
        through, trip = question(
            _today(kit, at),
            _out(held, kit) if held else None,
            [Coming(t.first_day, t.last_day, t.pk) for t in ahead[kit.pk]],
        )
        found[kit.pk] = Question(through, trips[trip] if trip is not None else None)
    return found


def verdicts(kits: Iterable[Kit], questions: Mapping[int, Question]) -> dict[int, Judged]:
    """Kits judged by the questions given for them, by id: with a trip, together with all of its
    kits."""
    kits = list(kits)
    found = answers([(kit, questions[kit.pk]) for kit in kits])
    return {kit.pk: judged for kit, judged in zip(kits, found, strict=True)}


def answers(asked: Sequence[tuple[Kit, Question]], at: datetime | None = None) -> list[Judged]:
    """Kits judged by questions, any number to a kit, in the order given: with a trip, together with
    all of its kits. `at` is the instant whose today it is (None: now)."""
    at = at or clock.now()
    together = fitness.kits_of_trips({q.trip.pk for _, q in asked if q.trip is not None})
    wanted = {kit.pk for kit, _ in asked}.union(*together.values())
    states = fitness.states(wanted) if wanted else {}
    found = []
    for kit, asks in asked:
        trip = asks.trip
        others = sorted(together[trip.pk] - {kit.pk}) if trip is not None else ()
        verdict = judge(
            states[kit.pk],
            asks.through,
            _today(kit, at),
            trip=fitness.needs_of(trip) if trip is not None else None,
            others=[states[pk] for pk in others],
        )
        found.append(Judged(asks, verdict, states[kit.pk]))
    return found


def _today(kit: Kit, at: datetime) -> date:
    return clock.local_date(at, kit.home_room.time_zone)


def _out(held: Checkout, kit: Kit) -> Out:
    zone = kit.home_room.time_zone
    return Out(
        held.trip_id,
        held.trip.last_day if held.trip else None,
        clock.local_date(held.due_at, zone) if held.due_at else None,
    )


def coming(
    kits: Iterable[Kit], *, days: int = DAYS_AHEAD, at: datetime | None = None
) -> dict[int, list[Trip]]:
    """The trips that each kit is reserved for, by the kit's id, that have begun or begin within
    some days, or a little later, and that have not ended for it; the soonest first."""
    kits, now = list(kits), at or clock.now()
    zones = {kit.pk: kit.home_room.time_zone for kit in kits}
    rows = (
        Reservation.objects.filter(
            kit__in=kits,
            released__isnull=True,
            trip__cancelled_at__isnull=True,
            trip__returns_at__gt=now,
            trip__departs_at__lte=now + timedelta(days=days + 2),
        )
        .select_related("trip__leader")
        .order_by("trip__departs_at", "trip")
    )
    back = _back(rows, zones)
    found: dict[int, list[Trip]] = defaultdict(list)
    for row in rows:
        if (row.kit_id, row.trip_id) not in back:
            found[row.kit_id].append(row.trip)
    return found


def _back(rows: Iterable[Reservation], zones: Mapping[int, str]) -> set[tuple[int, int]]:
    """The kits, with their trips, that came back from them on the last day."""
    last_days = {(row.kit_id, row.trip_id): row.trip.last_day for row in rows}
    returned: Iterable[tuple[int, int | None, datetime | None]] = Checkout.objects.filter(
        kit__in={kit for kit, _ in last_days},
        trip__in={trip for _, trip in last_days},
        section__isnull=True,
        in_at__isnull=False,
        undone__isnull=True,
    ).values_list("kit", "trip", "in_at")
    return {
        (kit, trip)
        for kit, trip, in_at in returned
        if trip is not None
        and in_at is not None
        and (kit, trip) in last_days
        and clock.local_date(in_at, zones[kit]) >= last_days[kit, trip]
    }
