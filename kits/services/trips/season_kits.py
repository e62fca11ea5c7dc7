"""Kits for all open trips together: which to reserve, and what trips lack all the same. Nothing is
reserved by asking."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Count
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.models import Room
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.ledger import KitState
from kits.rules.ledger.suits import child_through, latex_inside, suits
from kits.rules.restocking.picking import READY_FOR_DAYS
from kits.rules.restocking.restocked import fit_after_restocking
from kits.rules.restocking.shelves import shelves_of
from kits.rules.trips.lanes import Days
from kits.rules.trips.season import Season, SeasonKit, SeasonTrip
from kits.rules.trips.season_kits import WITHIN, Found, choose
from kits.rules.trips.season_mends import Mend, MendKind, mends
from kits.services.ledger import readiness
from kits.services.lookup import find, promises
from kits.services.stock.order_levels import stock_levels
from kits.services.text import wording
from kits.services.trips import reservations
from kits.services.trips.proposals import reason_row

LATELY = timedelta(days=365)
"""How far back it counts how often a kit went."""
SMALL = 60 * 150
"""Up to so many kits times trips the very best choice is looked for, of more one nearly as good."""


@dataclass(frozen=True)
class KitForTrip:
    """A kit that a trip has or should have. `to_restock`: it is not fit through the last day as it
    is; `from_elsewhere`: its gear room is not the trip's."""

    kit: Kit
    to_restock: bool
    from_elsewhere: bool


@dataclass(frozen=True)
class TripKits:
    """A trip, the kits that are reserved for it and stay so, those that it should have beside them,
    what all of these do not serve (as `reason_row` gives it), and ways to serve it after all, in
    words."""

    trip: Trip
    promised: Sequence[KitForTrip]
    chosen: Sequence[KitForTrip]
    lacking: Sequence[dict[str, Any]]
    ways: Sequence[str]

    @property
    def is_settled(self) -> bool:
        """Whether what is reserved for it serves it, and is fit through its last day as it is."""
        waits = any(each.to_restock for each in self.promised)
        return not (self.chosen or self.lacking or waits)


@dataclass(frozen=True)
class SeasonKits:
    """Kits for all open trips, those that depart first before the others; how good the choice is:
    another could come to less by the share `within` at most. `kits` were chosen from;
    `not_counted_on` are not back, or will not be back on a known day."""

    trips: Sequence[TripKits]
    kits: Sequence[Kit]
    found: Found
    within: float
    not_counted_on: Sequence[Kit]


def season_kits(actor: Actor, room: Room | None = None) -> SeasonKits:
    """Choose kits for all open trips that somebody sees, of one room or of all, from the kits that
    they see. What is reserved stays reserved. The number of queries does not grow with them.

    Each kit is judged as if it alone took from the shelves, and again when it is reserved and
    taken.
    """
    trips = _open_trips(actor, room)
    kits = {kit.pk: kit for kit in _kits_in_use(actor)}
    states = readiness.states(kits)
    out = Checkout.objects.open().of_whole_kits().filter(kit__in=kits)
    away = {each.kit_id: each for each in out}
    now = clock.now()
    unknown = [pk for pk, each in away.items() if each.due_at is None or each.due_at <= now]
    promised = promises.of_kits(kits)
    restocked = _fit_after_restocking(kits, states, trips)
    times = _times(kits)
    season = Season(
        tuple(SeasonTrip(t.pk, t.name, readiness.needs_of(t), t.room_id) for t in trips),
        tuple(
            _season_kit(
                kit,
                states[pk],
                [Days(p.promise.first_day, p.promise.last_day) for p in promised.get(pk, ())],
                away.get(pk),
                restocked.get(pk),
                times.get(pk, 0),
            )
            for pk, kit in kits.items()
            if pk not in unknown
        ),
        frozenset((each.promise.trip, pk) for pk, its in promised.items() for each in its),
    )
    exact = len(season.trips) * len(season.kits) <= SMALL
    chosen = choose(season, within=0.0 if exact else WITHIN)
    ways = mends(season, chosen)
    return SeasonKits(
        [
            _row(season, trip, chosen.of_trip[trip.pk], kits, states, ways.get(trip.pk, ()))
            for trip in trips
        ],
        [kits[kit.id] for kit in season.kits],
        chosen.found,
        chosen.within,
        [kits[pk] for pk in unknown],
    )


def reserve(act: Act, pairs: Sequence[tuple[Trip, Kit]]) -> list[Reservation]:
    """Reserve each of these kits for its trip, all or none.

    Raises Invalid where there are none; Refused and Unacceptable as `reservations.reserve` does,
    for the first kit that was reserved for another trip meanwhile.
    """
    if not pairs:
        raise Invalid(_("Choose at least one kit."), field="kit")
    in_order = sorted(set(pairs), key=lambda pair: (pair[1].pk, pair[0].pk))
    with transaction.atomic():
        return [reservations.reserve(act, kit, trip).reservation for trip, kit in in_order]


# ------------------------------------------------------------------------------------------- inside
def _open_trips(actor: Actor, room: Room | None) -> list[Trip]:
    """Trips that have still to depart, in that order."""
    trips = find.trips_of(actor).filter(cancelled_at=None, departs_at__gt=clock.now())
    if room is not None:
        trips = trips.filter(room=room)
    return list(trips.order_by("departs_at", "id"))


def _kits_in_use(actor: Actor) -> Iterable[Kit]:
    return (
        find.kits_of(actor)
        .active()
        .filter(training=False, lost_since=None, laid_up_since=None, contents_entered=True)
        .select_related("home_room", "room")
        .order_by("name")
    )


def _fit_after_restocking(
    kits: Mapping[int, Kit], states: Mapping[int, KitState], trips: Sequence[Trip]
) -> dict[int, date | None]:
    """Until when each kit would be fit that was restocked from the shelves of its room."""
    if not trips:
        return {}
    units, _shelves = stock_levels.on_shelves({kit.room_id for kit in kits.values()})
    stock = {room: shelves_of(rows) for room, rows in units.items()}
    last = max(trip.last_day for trip in trips)
    found: dict[int, date | None] = {}
    for pk, kit in kits.items():
        today = readiness.today_of(kit)
        throughs = sorted({last, min(last, today + timedelta(days=READY_FOR_DAYS))})
        if kit.fit_until is None or kit.fit_until < last:
            found[pk] = fit_after_restocking(
                states[pk], stock.get(kit.room_id, {}), throughs, today
            )
    return found


def _times(kits: Collection[int]) -> dict[int, int]:
    """How often each kit went lately."""
    gone = (
        Checkout.objects.of_whole_kits()
        .not_undone()
        .filter(kit__in=kits, out_at__gt=clock.now() - LATELY)
    )
    return dict(gone.order_by().values("kit").annotate(n=Count("pk")).values_list("kit", "n"))


def _season_kit(
    kit: Kit,
    state: KitState,
    promised: Sequence[Days],
    held: Checkout | None,
    restocked: date | None,
    times: int,
) -> SeasonKit:
    today = readiness.today_of(kit)
    busy = list(promised)
    if held is not None and held.due_at is not None:
        busy.append(Days(today, clock.local_date(held.due_at, kit.home_room.time_zone)))
    return SeasonKit(
        kit.pk,
        kit.name,
        kit.home_room_id,
        state.serves_people,
        state.serves_days,
        state.hazards,
        child_through(state),
        bool(latex_inside(state)),
        kit.fit_until,
        restocked,
        today + timedelta(days=kit.home_room.sorting_nights),
        tuple(sorted(set(busy), key=lambda days: (days.first, days.last))),
        kit.home_room.sorting_nights,
        times,
    )


def _row(
    season: Season,
    trip: Trip,
    chosen: Sequence[int],
    kits: Mapping[int, Kit],
    states: Mapping[int, KitState],
    ways: Iterable[Mend],
) -> TripKits:
    of_trip = season.trip[trip.pk]
    promised = [pk for pk in season.promised.get(trip.pk, ()) if pk in kits]
    going = [pk for pk in promised if pk in season.kit and season.kit[pk].may_go(of_trip)]

    def for_trip(pk: int) -> KitForTrip:
        of_season = season.kit.get(pk)
        return KitForTrip(
            kits[pk],
            of_season is not None and not of_season.is_ready(of_trip),
            trip.room_id is not None and kits[pk].home_room_id != trip.room_id,
        )

    return TripKits(
        trip,
        [for_trip(pk) for pk in sorted(promised, key=lambda pk: kits[pk].name)],
        [for_trip(pk) for pk in sorted(chosen, key=lambda pk: kits[pk].name)],
        [
            reason_row(r)
            for r in suits(readiness.needs_of(trip), [states[pk] for pk in (*going, *chosen)])
        ],
        [_way(mend, trip, kits) for mend in ways],
    )


def _way(mend: Mend, trip: Trip, kits: Mapping[int, Kit]) -> str:
    """A way to serve a trip after all, in a sentence."""
    names = ", ".join(sorted(kits[pk].name for pk in mend.kits))
    if mend.kind is MendKind.SHIFT:
        first = wording.day(trip.first_day + timedelta(days=mend.days))
        return _("If the trip began on %(day)s, %(kits)s could go.") % {"day": first, "kits": names}
    if mend.kind is MendKind.MAKE_READY:
        return _(
            "Not ready until %(day)s, not even with what is on the shelves, but would do: %(kits)s."
        ) % {"day": wording.day(trip.last_day), "kits": names}
    facts = {"like": kits[mend.like or 0].name, "kits": names}
    if names:
        return _("One more kit like %(like)s, together with %(kits)s: borrow or buy one.") % facts
    return _("One more kit like %(like)s: borrow or buy one.") % facts
