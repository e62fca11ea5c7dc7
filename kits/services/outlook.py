"""How trips stand: the kits promised to each, whether each is fit through the last day, whether
together they suit the trip. The number of queries does not grow with the trips or their kits."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.conf import settings

from gearroom.core import clock
from gearroom.core.models import Person
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.facts import KitState, Reason, Verdict, Weight
from kits.rules.readiness import judge
from kits.rules.suits import suits
from kits.services import fitness
from kits.services.reservations import open_reservations


@dataclass(frozen=True)
class KitOfTrip:
    """A kit of a trip: promised to it (`reservation`), gone with it (`went`), or both.

    `verdict` is of the kit alone, through the trip's last day; None once it went, and for a trip
    that is over or cancelled. `elsewhere`: who has it beyond the departure, as things are.
    """

    kit: Kit
    person: Person | None
    reservation: Reservation | None = None
    went: Checkout | None = None
    verdict: Verdict | None = None
    elsewhere: Checkout | None = None


@dataclass(frozen=True)
class TripSeen:
    """A trip with its kits, and what all of them together do not serve (`lacking`).

    `state` is `cancelled`, `over`, or how it stands: `no-kits`, `stops`, `short`, `fit`, and `out`
    when nothing of it is here any more.
    """

    trip: Trip
    kits: Sequence[KitOfTrip]
    lacking: Sequence[Reason]
    state: str


def seen(trips: Iterable[Trip]) -> list[TripSeen]:
    """The trips in the order given. They must come with their rooms and leaders."""
    trips = list(trips)
    promised: dict[int, list[Reservation]] = defaultdict(list)
    for row in (
        open_reservations()
        .filter(trip__in=trips)
        .select_related("kit__home_room", "person")
        .order_by("kit__name")
    ):
        promised[row.trip_id].append(row)
    went: dict[int, dict[int, Checkout]] = defaultdict(dict)
    for gone in (
        Checkout.objects.filter(trip__in=trips, section__isnull=True, undone__isnull=True)
        .select_related("kit__home_room", "person")
        .order_by("id")
    ):
        went[gone.trip_id or 0][gone.kit_id] = gone
    ahead = {trip.pk for trip in trips if _ended(trip) is None}
    judged = {row.kit_id for pk in ahead for row in promised[pk]}
    judged |= {kit for pk in ahead for kit in went[pk]}
    states = fitness.states(judged) if judged else {}
    out = {
        each.kit_id: each
        for each in Checkout.objects.filter(
            kit__in=judged, section__isnull=True, in_at__isnull=True
        ).select_related("person")
    }
    return [_seen(trip, promised[trip.pk], went[trip.pk], states, out) for trip in trips]


def _seen(
    trip: Trip,
    promised: Sequence[Reservation],
    went: dict[int, Checkout],
    states: dict[int, KitState],
    out: dict[int, Checkout],
) -> TripSeen:
    ended = _ended(trip)
    kits = []
    for row in promised:
        gone = went.get(row.kit_id)
        waits = ended is None and gone is None
        kits.append(
            KitOfTrip(
                row.kit,
                row.person or trip.leader,
                row,
                gone,
                _alone(row.kit, states[row.kit_id], trip) if waits else None,
                _beyond(out.get(row.kit_id), trip) if waits else None,
            )
        )
    there = {row.kit_id for row in promised}
    kits += [
        KitOfTrip(gone.kit, gone.person, None, gone) for pk, gone in went.items() if pk not in there
    ]
    if ended is not None:
        return TripSeen(trip, kits, (), ended)
    lacking = suits(fitness.needs_of(trip), [states[each.kit.pk] for each in kits])
    return TripSeen(trip, kits, lacking, _state(kits, lacking))


def _state(kits: Sequence[KitOfTrip], lacking: Sequence[Reason]) -> str:
    if not kits:
        return "no-kits"
    waiting = [each.verdict for each in kits if each.verdict is not None]
    if not waiting:
        return "out"
    weights = [reason.weight for verdict in waiting for reason in verdict.reasons]
    worst = max((*weights, *(reason.weight for reason in lacking)), default=Weight.NOTE)
    away = any(each.elsewhere is not None for each in kits)
    if worst is Weight.STOPS or away:
        return "stops"
    return "short" if worst is Weight.SHORT else "fit"


def _alone(kit: Kit, state: KitState, trip: Trip) -> Verdict:
    today = fitness.today_of(kit)
    return judge(state, max(trip.last_day, today), today)


def _beyond(held: Checkout | None, trip: Trip) -> Checkout | None:
    """Who keeps a kit from a trip, as things are; an overdue kit may stay away as well."""
    if held is None or clock.now() <= held.due_at <= trip.departs_at:
        return None
    return held


def _ended(trip: Trip) -> str | None:
    if trip.cancelled_at is not None:
        return "cancelled"
    zone = trip.room.time_zone if trip.room else settings.TIME_ZONE
    return "over" if trip.last_day < clock.today(zone) else None
