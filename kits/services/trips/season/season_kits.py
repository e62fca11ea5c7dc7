"""Kits for all open trips together: which to reserve, and what trips lack all the same. Nothing is
reserved by asking."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.ledger import KitState
from kits.rules.ledger.suits import child_through, latex_inside, suits
from kits.rules.restocking.picking import READY_FOR_DAYS
from kits.rules.restocking.restocked import fit_after_restocking
from kits.rules.restocking.shelves import shelves_of
from kits.rules.trips import season_kits as rule
from kits.rules.trips.lanes import Days
from kits.rules.trips.season import Choice, Season, SeasonKit, SeasonTrip
from kits.rules.trips.season_kits import WITHIN, Found, choose, choose_with_changes
from kits.rules.trips.season_mends import Mend, mends
from kits.services.ledger import readiness
from kits.services.lookup import find, promises
from kits.services.stock.order_levels import stock_levels
from kits.services.text import wording
from kits.services.trips import reservations
from kits.services.trips.proposals import reason_row
from kits.services.trips.season.ways import ContentsCost, Costs, way

LATELY = timedelta(days=365)
"""How far back it counts how often a kit went."""
SMALL = 60 * 150
"""Up to so many kits times trips the very best choice is looked for, of more one nearly as good."""


@dataclass(frozen=True)
class KitForTrip:
    """A kit that a trip has or should have. `to_restock`: it is not fit through the last day as it
    is; `from_elsewhere`: its gear room is not the trip's; `not_back`: it is out on something else,
    and not back in time; `may_change`: it is reserved, and whoever asks may give it up."""

    kit: Kit
    to_restock: bool
    from_elsewhere: bool
    not_back: bool = False
    may_change: bool = False


@dataclass(frozen=True)
class TripKits:
    """A trip, the kits that are reserved for it and stay so, those that go to other trips, those
    that it should have beside or instead, what all that it has then do not serve (as `reason_row`
    gives it), ways to serve it after all and why its kits go elsewhere, in words, and the ids of
    all reservations for it."""

    trip: Trip
    promised: Sequence[KitForTrip]
    released: Sequence[KitForTrip]
    chosen: Sequence[KitForTrip]
    lacking: Sequence[dict[str, Any]]
    ways: Sequence[str]
    why: str = ""
    reservations: Sequence[int] = ()

    @property
    def is_settled(self) -> bool:
        """Whether what is reserved for it serves it, and is fit through its last day as it is."""
        waits = any(each.to_restock or each.not_back for each in self.promised)
        return not (self.chosen or self.released or self.lacking or waits)


@dataclass(frozen=True)
class SeasonKits:
    """Kits for all open trips, those that depart first before the others; how good the choice is:
    another could come to less by the share `within` at most. `kits` were chosen from;
    `not_counted_on` are not back, or will not be back on a known day. `season` is what it was
    chosen for, as the rules see it."""

    trips: Sequence[TripKits]
    kits: Sequence[Kit]
    found: Found
    within: float
    not_counted_on: Sequence[Kit]
    season: Season


def season_kits(
    actor: Actor,
    room: Room | None = None,
    *,
    changes: bool = False,
    costs_of: Costs | None = None,
) -> SeasonKits:
    """Choose kits for all open trips that somebody sees, of one room or of all, from the kits that
    they see. What is reserved stays reserved, or with `changes` goes to other trips where more have
    what they need then, as far as it is theirs to reserve and has not gone. `costs_of` says what
    kits cost, where one more would serve a trip. The number of queries does not grow with them.

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
    may_change = frozenset(
        (each.promise.trip, pk)
        for pk, its in promised.items()
        for each in its
        if not each.promise.taken
        and each.promise.trip in season.trip
        and actor.may("reserve", kits[pk].home_room_id)
    )
    exact = len(season.trips) * len(season.kits) <= SMALL
    within = 0.0 if exact else WITHIN
    if changes:
        season, chosen = choose_with_changes(season, may_change, within=within)
    else:
        chosen = choose(season, within=within)
    costs = costs_of(kits.values()) if costs_of and chosen.lacking else {}
    ways = mends(season, chosen, {pk: of.money for pk, of in costs.items() if not of.unpriced})
    moved = {change.trip: change for change in rule.changes(season, chosen.choice)}
    of_trip = {trip.pk: trip for trip in trips}
    reserved = grouped(
        Reservation.objects.promised()
        .filter(trip__in=trips)
        .order_by("id")
        .values_list("trip", "id")
    )
    rows = _Rows(season, kits, states, of_trip, may_change, reserved, costs)
    return SeasonKits(
        [
            rows.row(trip, chosen.of_trip[trip.pk], ways.get(trip.pk, ()), moved.get(trip.pk))
            for trip in trips
        ],
        [kits[kit.id] for kit in season.kits],
        chosen.found,
        chosen.within,
        [kits[pk] for pk in unknown],
        season,
    )


def reserve(
    act: Act,
    pairs: Sequence[tuple[Trip, Kit]],
    release: Sequence[tuple[Trip, Kit]] = (),
    shown: Mapping[int, Collection[int]] | None = None,
) -> list[reservations.ReservedKit]:
    """Reserve each of these kits for its trip, once those to `release` are no longer reserved for
    theirs; all or nothing. `shown`: by trip, the reservations that it had when kits were chosen.

    Raises Invalid where there are none; Refused, Unacceptable and Stale as
    `reservations.reserve_all` does, for the first that changed meanwhile.
    """
    if not (pairs or release):
        raise Invalid(_("Choose at least one kit."), field="kit")
    return reservations.reserve_all(act, pairs, release, shown)


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
    out = None
    if held is not None and held.due_at is not None:
        out = Days(today, clock.local_date(held.due_at, kit.home_room.time_zone))
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
        tuple(sorted(promised, key=lambda days: (days.first, days.last))),
        out=out,
        out_on=held.trip_id if held is not None else None,
        nights=kit.home_room.sorting_nights,
        times=times,
    )


@dataclass(frozen=True)
class _Rows:
    """What rows are made of."""

    season: Season
    kits: Mapping[int, Kit]
    states: Mapping[int, KitState]
    trips: Mapping[int, Trip]
    may_change: Choice
    reserved: Mapping[int, Sequence[int]]
    costs: Mapping[int, ContentsCost]

    def row(
        self, trip: Trip, chosen: Sequence[int], ways: Iterable[Mend], change: rule.Change | None
    ) -> TripKits:
        """The row of a trip, with the kits chosen for it (those it keeps among them)."""
        stays = [pk for pk in self.season.promised.get(trip.pk, ()) if pk in self.kits]
        keeps = [pk for pk in chosen if (trip.pk, pk) in self.season.movable]
        new = [pk for pk in chosen if pk not in keeps]
        going = [pk for pk in (*stays, *chosen) if self._goes(trip, pk)]
        suiting = suits(readiness.needs_of(trip), [self.states[pk] for pk in going])
        return TripKits(
            trip,
            self._for_trip(trip, (*stays, *keeps)),
            self._for_trip(trip, change.gives if change else ()),
            self._for_trip(trip, new),
            [reason_row(reason) for reason in suiting],
            [way(mend, trip, self.kits, self.costs) for mend in ways],
            self._why(change) if change else "",
            self.reserved.get(trip.pk, ()),
        )

    def _goes(self, trip: Trip, pk: int) -> bool:
        if pk not in self.season.kit:
            return False
        kit, of_trip = self.season.kit[pk], self.season.trip[trip.pk]
        return kit.may_go(of_trip) and kit.is_back(of_trip)

    def _for_trip(self, trip: Trip, pks: Iterable[int]) -> list[KitForTrip]:
        of_trip = self.season.trip[trip.pk]
        return [
            KitForTrip(
                kit,
                of_season is not None and not of_season.is_ready(of_trip),
                trip.room_id is not None and kit.home_room_id != trip.room_id,
                of_season is None or not of_season.is_back(of_trip),
                (trip.pk, kit.pk) in self.may_change,
            )
            for kit in sorted((self.kits[pk] for pk in pks), key=lambda kit: kit.name)
            for of_season in [self.season.kit.get(kit.pk)]
        ]

    def _why(self, change: rule.Change) -> str:
        """Why a trip's kits go to others, in a sentence."""
        facts = {
            "given": ", ".join(self.kits[pk].name for pk in change.gives),
            "to": ", ".join(
                f"{self.trips[pk].name} ({wording.day(self.trips[pk].first_day)})"
                for pk in change.to
            ),
            "instead": ", ".join(self.kits[pk].name for pk in change.has),
        }
        if change.has:
            return _("%(instead)s instead of %(given)s, which goes with %(to)s.") % facts
        return _("Without %(given)s, which goes with %(to)s.") % facts
