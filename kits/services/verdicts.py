"""The verdict that every surface shows of a kit, with the question it answers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from gearroom.core import clock
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.facts import Verdict
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
    """A kit's verdict, with the question that it answers."""

    question: Question
    verdict: Verdict


def judged(kits: Iterable[Kit]) -> dict[int, Judged]:
    """How each of these kits (with their home rooms) stands, by id; see `kits.rules.question`.
    The number of queries does not grow with the kits."""
    kits = list(kits)
    questions = questions_of(kits)
    return verdicts(kits, questions)


def judged_one(kit: Kit) -> Judged:
    """How one kit stands."""
    return judged([kit])[kit.pk]


def questions_of(kits: Iterable[Kit]) -> dict[int, Question]:
    """The question that each of these kits is judged by, by the kit's id."""
    kits = list(kits)
    out = {
        held.kit_id: held
        for held in Checkout.objects.filter(
            kit__in=kits, section__isnull=True, in_at__isnull=True
        ).select_related("trip")
    }
    coming = _coming([kit for kit in kits if kit.pk not in out])
    found = {}
    for kit in kits:
        trips = {trip.pk: trip for trip in coming[kit.pk]}
        held = out.get(kit.pk)
        if held is not None and held.trip is not None:
            trips[held.trip.pk] = held.trip
        through, trip = question(
            fitness.today_of(kit),
            _out(held, kit) if held else None,
            [Coming(t.first_day, t.last_day, t.pk) for t in coming[kit.pk]],
        )
        found[kit.pk] = Question(through, trips[trip] if trip is not None else None)
    return found


def verdicts(kits: Iterable[Kit], questions: Mapping[int, Question]) -> dict[int, Judged]:
    """Kits judged by the questions given for them, by id: with a trip, together with all of its
    kits."""
    kits = list(kits)
    together = fitness.kits_of_trips({q.trip.pk for q in questions.values() if q.trip is not None})
    states = fitness.states({kit.pk for kit in kits}.union(*together.values()))
    found = {}
    for kit in kits:
        asked = questions[kit.pk]
        trip = asked.trip
        others = sorted(together[trip.pk] - {kit.pk}) if trip is not None else ()
        found[kit.pk] = Judged(
            asked,
            judge(
                states[kit.pk],
                asked.through,
                fitness.today_of(kit),
                trip=fitness.needs_of(trip) if trip is not None else None,
                others=[states[pk] for pk in others],
            ),
        )
    return found


def _out(held: Checkout, kit: Kit) -> Out:
    zone = kit.home_room.time_zone
    return Out(
        held.trip_id,
        held.trip.last_day if held.trip else None,
        clock.local_date(held.due_at, zone) if held.due_at else None,
    )


def _coming(kits: Iterable[Kit]) -> dict[int, list[Trip]]:
    """The trips that each kit is reserved for, begins soon or has begun, and that have not ended
    for it."""
    kits = list(kits)
    zones = {kit.pk: kit.home_room.time_zone for kit in kits}
    now = clock.now()
    rows = (
        Reservation.objects.filter(
            kit__in=kits,
            released__isnull=True,
            trip__cancelled_at__isnull=True,
            trip__returns_at__gt=now,
            trip__departs_at__lte=now + timedelta(days=DAYS_AHEAD + 2),
        )
        .select_related("trip")
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
