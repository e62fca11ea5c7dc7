"""How trips stand: the kits of each, how every one of them stands to it, and whether it is covered
(`kits.rules.trips.trips.coverage`). The number of queries does not grow with the trips or their
kits."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from gearroom.core import clock
from gearroom.core.models import Person
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.ledger import KitState, Reason, Verdict, Weight, on_trip
from kits.rules.trips import trips as rule
from kits.rules.trips.trips import Coverage, Stand
from kits.services.ledger import readiness
from kits.services.lookup import promises


@dataclass(frozen=True)
class KitOfTrip:
    """A kit of a trip: reserved for it (`reservation`), gone with it (`went`, its last time), or
    both.

    `verdict` is the one that every surface shows of the kit for this day and trip; None for a
    trip that is over or cancelled. `stand` is how it stands to the trip; None for such a trip, and
    for a kit that went without being reserved and is back. `elsewhere`: who has it on something
    else.
    """

    kit: Kit
    person: Person | None
    reservation: Reservation | None = None
    went: Checkout | None = None
    verdict: Verdict | None = None
    stand: Stand | None = None
    elsewhere: Checkout | None = None

    @property
    def on_it(self) -> bool:
        """It is out on the trip."""
        return self.went is not None and self.went.in_at is None

    @property
    def checkout(self) -> Checkout | None:
        """Who has it, on the trip or on something else."""
        return self.went if self.on_it else self.elsewhere

    @property
    def in_time(self) -> bool:
        """It is out on something else, and due early enough."""
        return self.stand is Stand.COMING


@dataclass(frozen=True)
class JudgedTrip:
    """A trip with its kits, its coverage (None once it is over or cancelled), and what the kits
    that count do not serve together (`lacking`).

    `state` says the same in one word for a mark: `cancelled`, `over`, `no-kits`, `covered`, `out`
    (covered, and every kit of it went), `back` (and all are back), `waiting`, `short` (uncovered;
    its kits may go with a reason), `stops`.
    """

    trip: Trip
    kits: Sequence[KitOfTrip]
    lacking: Sequence[Reason]
    state: str
    coverage: Coverage | None = None

    @property
    def where(self) -> rule.Whereabouts:
        """How many of its kits have still to go, are out on it, and are back."""
        return rule.whereabouts(kit.stand for kit in self.kits)

    @property
    def promised(self) -> list[KitOfTrip]:
        """The kits that are reserved for it."""
        return [kit for kit in self.kits if kit.reservation is not None]


@dataclass(frozen=True)
class _Loaded:
    """What trips are judged from."""

    now: datetime
    promised: Mapping[int, Sequence[Reservation]]
    went: Mapping[int, Mapping[int, Checkout]]
    ended: frozenset[int]
    states: Mapping[int, KitState]
    out: Mapping[int, Checkout]


def judge_trips(trips: Iterable[Trip], *, still_here: bool = False) -> list[JudgedTrip]:
    """The trips in the order given. They must come with their rooms and leaders. `still_here`:
    judge them as before their departure, for which somebody may be late."""
    trips = list(trips)
    loaded = _load(trips)
    return [
        _judge_trip(trip, loaded, departed=loaded.now >= trip.departs_at and not still_here)
        for trip in trips
    ]


def _load(trips: Sequence[Trip]) -> _Loaded:
    now = clock.now()
    promised = grouped(
        (row.trip_id, row)
        for row in Reservation.objects.promised()
        .filter(trip__in=trips)
        .select_related("kit__home_room", "person")
        .order_by("kit__name")
    )
    by_trip = grouped(
        (gone.trip_id or 0, (gone.kit_id, gone))
        for gone in Checkout.objects.of_whole_kits()
        .not_undone()
        .filter(trip__in=trips)
        .select_related("kit__home_room", "person", "trip", "section")
        .order_by("id")
    )
    went = {trip: dict(rows) for trip, rows in by_trip.items()}
    ended = frozenset(trip.pk for trip in trips if promises.ended(trip, now=now))
    judged = {row.kit_id for pk, rows in promised.items() if pk not in ended for row in rows}
    judged |= {kit for pk, rows in went.items() if pk not in ended for kit in rows}
    out = {
        each.kit_id: each
        for each in Checkout.objects.open()
        .of_whole_kits()
        .filter(kit__in=judged)
        .select_related("person", "trip", "kit", "section")
    }
    return _Loaded(now, promised, went, ended, readiness.states(judged), out)


def _judge_trip(trip: Trip, loaded: _Loaded, *, departed: bool) -> JudgedTrip:
    rows = _rows(trip, loaded)
    if trip.pk in loaded.ended:
        state = "cancelled" if trip.cancelled_at is not None else "over"
        return JudgedTrip(trip, rows, (), state)
    # A kit that went without being reserved is the trip's while it is out on it.
    together = [row for row in rows if row.reservation is not None or row.on_it]
    counted = [row for row in rows if row in together or _back(row, trip, loaded)]
    needs = readiness.needs_of(trip)
    alone = {
        row.kit.pk: readiness.for_trip(row.kit, loaded.states[row.kit.pk], trip) for row in rows
    }
    covered = rule.coverage(
        needs,
        [_for_the_rule(row, trip, alone[row.kit.pk], loaded) for row in counted],
        departed=departed,
    )
    states = [loaded.states[row.kit.pk] for row in together]
    kits = [
        KitOfTrip(
            row.kit,
            row.person,
            row.reservation,
            row.went,
            on_trip(
                alone[row.kit.pk],
                loaded.states[row.kit.pk],
                needs,
                [state for state in states if state.id != row.kit.pk],
            ),
            covered.stands.get(row.kit.pk),
            _elsewhere(row, trip, loaded),
        )
        for row in rows
    ]
    return JudgedTrip(trip, kits, covered.lacking, _state(kits, covered), covered.coverage)


def _rows(trip: Trip, loaded: _Loaded) -> list[KitOfTrip]:
    went = loaded.went.get(trip.pk, {})
    promised = {row.kit_id: row for row in loaded.promised.get(trip.pk, ())}
    return [
        *(
            KitOfTrip(row.kit, row.person or trip.leader, row, went.get(row.kit_id))
            for row in promised.values()
        ),
        *(
            KitOfTrip(gone.kit, gone.person, None, gone)
            for kit, gone in went.items()
            if kit not in promised
        ),
    ]


def _back(row: KitOfTrip, trip: Trip, loaded: _Loaded) -> bool:
    """Whether a kit served the trip and was handed back on its last day."""
    return row.went is not None and promises.ended(trip, row.went, loaded.now)


def _elsewhere(row: KitOfTrip, trip: Trip, loaded: _Loaded) -> Checkout | None:
    held = loaded.out.get(row.kit.pk)
    return held if held is not None and held.trip_id != trip.pk else None


def _for_the_rule(row: KitOfTrip, trip: Trip, alone: Verdict, loaded: _Loaded) -> rule.KitOfTrip:
    held = _elsewhere(row, trip, loaded)
    due = held.due_at if held is not None else None
    room = row.kit.home_room
    return rule.KitOfTrip(
        loaded.states[row.kit.pk],
        alone,
        on_it=row.on_it,
        back=_back(row, trip, loaded),
        elsewhere=held is not None,
        due_day=clock.local_date(due, room.time_zone) if due else None,
        overdue=due is not None and due <= loaded.now,
        nights=room.sorting_nights,
    )


def _state(kits: Sequence[KitOfTrip], covered: rule.Covered) -> str:
    where = rule.whereabouts(kit.stand for kit in kits)
    gone = "out" if where.out else "back"
    stopped = any(
        kit.stand in (Stand.AWAY, Stand.STAYED)
        or (kit.stand is Stand.NOT_FIT and kit.verdict is not None and not kit.verdict.may_go)
        for kit in kits
    )
    stops = any(reason.weight is Weight.STOPS for reason in covered.lacking)
    cases = (
        # None, or one that went unreserved and is back.
        (all(kit.stand is None for kit in kits), "no-kits"),
        (covered.coverage is Coverage.COVERED, gone if where.all_gone else "covered"),
        (covered.coverage is Coverage.WAITING, "waiting"),
        (stopped or stops, "stops"),
    )
    return next((state for applies, state in cases if applies), "short")
