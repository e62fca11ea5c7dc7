"""Trips and the kits promised to them.

Days are counted whole and with both ends: a kit promised for a trip is away from the morning of
its first day to the evening of its last, when the driver drops it. So two trips that share a day
cannot share a kit.

A trip is *covered* only by kits that are ready for it or out on it. A kit that came back before
the trip has ended serves it no longer, and its promise is open again.
"""

import enum
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from gearroom.core.rules.sentences import InvalidValue, say
from kits.rules.ledger import KitState, LivesIn, Reason, TripNeeds, Verdict, Weight
from kits.rules.ledger.suits import suits

DAYS_AHEAD = 1
"""How long before its first day a kit goes out for a trip by itself: packed the evening before."""
SAME_DAY_UNTIL = time(15)
"""A kit that is taken without a trip after this hour is due the next day."""


class TripState(enum.StrEnum):
    """How certain a trip is. One that is planned needs its kits like any other: they are reserved
    and judged alike."""

    PLANNED = "planned"
    CONFIRMED = "confirmed"
    CANCELLED = "cancelled"


def check_days(first_day: date, last_day: date) -> None:
    """Raise InvalidValue when a trip's last day is before its first."""
    if last_day < first_day:
        raise InvalidValue(
            say(
                "The trip ends on %(last)s, before it begins on %(first)s. Enter a last day "
                "that is not before the first day.",
                last=last_day,
                first=first_day,
            )
        )


# ----------------------------------------------------------------------------------- promises
@dataclass(frozen=True, order=True)
class Promise:
    """An open reservation whose trip has not ended: a kit promised to a trip, first to last day,
    and to its guide (a person's id; None where nobody is known). `taken`: the kit is out on that
    trip now; `returned`: it was, and came back before the trip has ended. In order of first day,
    last day and id, of which no two have the same."""

    first_day: date
    last_day: date
    id: int
    kit: int
    trip: int
    guide: int | None = None
    taken: bool = False
    returned: bool = False


def ended(
    departs_at: datetime,
    returns_at: datetime,
    last_day: date,
    now: datetime,
    *,
    cancelled: bool = False,
    back_at: datetime | None = None,
    back_on: date | None = None,
) -> bool:
    """Return whether a promise to a trip is over: the trip was cancelled, it is time that it has
    returned, or the kit was handed back from it on its last day.

    `back_at` and `back_on` are when the kit was last handed back from the trip, as an instant and
    as a local day of the trip; None where it was not, or is out on it again. Handed back before
    the trip departed, it has still to go.
    """
    served = back_at is not None and back_at >= departs_at
    back = served and back_on is not None and back_on >= last_day
    return cancelled or now >= returns_at or back


def share_a_day(first_day: date, last_day: date, promise: Promise) -> bool:
    """Return whether a promise meets any day from the first to the last, both counted."""
    return promise.first_day <= last_day and promise.last_day >= first_day


def next_promise(promises: Iterable[Promise], kit: int) -> Promise | None:
    """Return the promise that a kit is to be made ready for: the first that it is not out for;
    None when there is none."""
    return min((p for p in promises if p.kit == kit and not p.taken), default=None)


def ready_through(promises: Iterable[Promise], kit: int, without_trip: date) -> date:
    """Return the day that a kit is to be made ready through: the last of its next trip, or
    `without_trip` where it has none.

    A trip that it came back from is not its next one, but may have it again while it has not ended:
    so the kit lasts through that as well.
    """
    waiting = sorted(p for p in promises if p.kit == kit and not p.taken)
    ahead = next((p.last_day for p in waiting if not p.returned), without_trip)
    return max(ahead, *(p.last_day for p in waiting if p.returned), date.min)


def goes_out_for(
    promises: Iterable[Promise],
    kit: int,
    today: date,
    taker: int | None,
) -> Promise | None:
    """Return the promise that a kit taken on `today` goes out for where no trip is named: the first
    that is under way or begins within `DAYS_AHEAD` days, if the taker is its guide, or if nobody
    is named who takes it or whom it is promised to; else None."""
    soon = today + timedelta(days=DAYS_AHEAD)
    mine = (
        p
        for p in promises
        if p.kit == kit
        and p.first_day <= soon
        and (taker is None or p.guide is None or p.guide == taker)
    )
    return next_promise(mine, kit)


def in_the_way(
    promises: Iterable[Promise],
    kit: int,
    today: date,
    due_day: date | None,
    taker: int | None,
    *,
    nights: int,
    going_for: int | None = None,
) -> tuple[Promise, ...]:
    """Return the promises of a kit to others that keep it from being taken by `taker` from `today`
    until `due_day` (None: nobody set one, today counts), in order.

    `nights` are those that sorting takes after the due day; `going_for` is the trip that it would
    go out for. A promise without a guide is another's too.
    """
    last = (due_day or today) + timedelta(days=nights)
    return tuple(
        sorted(
            p
            for p in promises
            if p.kit == kit
            and not p.taken
            and p.trip != going_for
            and (p.guide is None or p.guide != taker)
            and share_a_day(today, last, p)
        )
    )


def due_without_trip(taken_at: datetime, closing: time, lives_in: LivesIn) -> datetime | None:
    """Return when a kit that is taken for no trip is due: when the room closes, that day or, taken
    after 15:00, the next; None for a kit that lives in a vehicle. `taken_at` is in the room's own
    time, and so is the answer."""
    if lives_in is LivesIn.VEHICLE:
        return None
    today = datetime.combine(taken_at.date(), closing, taken_at.tzinfo)
    late = taken_at.time() > SAME_DAY_UNTIL or today <= taken_at
    return today + timedelta(days=1) if late else today


# ----------------------------------------------------------------------------------- coverage
class Coverage(enum.StrEnum):
    """Whether a trip has what it needs."""

    COVERED = "covered"
    WAITING = "waiting"
    UNCOVERED = "uncovered"


class Stand(enum.StrEnum):
    """What one kit is to a trip."""

    OUT_ON_IT = "out-on-it"
    READY = "ready"  # in, and ready or low through the last day
    NOT_FIT = "not-fit"  # in, and short or stopped
    COMING = "coming"  # out on something else, due early enough
    AWAY = "away"  # out on something else, and not due early enough
    BACK = "back"  # it served the trip, and is back from it
    STAYED = "stayed"  # the trip departed without it, or it came back early


@dataclass(frozen=True)
class Whereabouts:
    """How many kits of a trip have still to go (`waiting`), stayed or came back early, are out on
    it, and are back from it for good."""

    waiting: int = 0
    stayed: int = 0
    out: int = 0
    back: int = 0

    @property
    def gone(self) -> int:
        """How many went and served it, or do."""
        return self.out + self.back

    @property
    def all_gone(self) -> bool:
        """There are some, and every one went."""
        return bool(self.gone) and not (self.waiting or self.stayed)


def whereabouts(stands: Iterable[Stand | None]) -> Whereabouts:
    """Return where the kits of a trip are, by what each is to it (None: it is nothing to it)."""
    counts = Counter(stands)
    gone = {Stand.OUT_ON_IT, Stand.BACK, Stand.STAYED, None}
    return Whereabouts(
        waiting=sum(count for stand, count in counts.items() if stand not in gone),
        stayed=counts[Stand.STAYED],
        out=counts[Stand.OUT_ON_IT],
        back=counts[Stand.BACK],
    )


@dataclass(frozen=True)
class KitOfTrip:
    """A kit of a trip. `alone` is its verdict by itself through the last day; `on_it`: it is out
    on the trip; `back`: its promise ended because it was handed back on the last day;
    `elsewhere`: it is out on something else, due on the local day `due_day` (None: nobody set
    one), `overdue` or not; `nights` are those that sorting takes in its room."""

    state: KitState
    alone: Verdict
    on_it: bool = False
    back: bool = False
    elsewhere: bool = False
    due_day: date | None = None
    overdue: bool = False
    nights: int = 1


@dataclass(frozen=True)
class Covered:
    """The state of a trip: its coverage, what each kit is to it (by id), and what those that count
    do not serve together."""

    coverage: Coverage
    stands: dict[int, Stand] = field(default_factory=dict)
    lacking: tuple[Reason, ...] = ()


def coverage(trip: TripNeeds, kits: Sequence[KitOfTrip], *, departed: bool) -> Covered:
    """Return the state of a trip that has not ended, with the kits promised to it or out on it.

    Before it departs each has to be in and ready or low through the last day, or out on it, and
    all together have to suit it; one that comes back in time from something else makes it wait.
    Once it has departed, only those out on it count.
    """
    stands = {kit.state.id: _stand(trip, kit, departed=departed) for kit in kits}
    serving = (Stand.OUT_ON_IT, Stand.BACK)
    counted = [kit.state for kit in kits if not departed or stands[kit.state.id] in serving]
    lacking = suits(trip, counted)
    short = any(reason.weight >= Weight.SHORT for reason in lacking)
    bad = {Stand.NOT_FIT, Stand.AWAY} & set(stands.values())
    if not counted or short or (bad and not departed):
        state = Coverage.UNCOVERED
    else:
        waits = not departed and Stand.COMING in stands.values()
        state = Coverage.WAITING if waits else Coverage.COVERED
    return Covered(state, stands, lacking)


def back_in_time(first_day: date, due_day: date | None, *, overdue: bool, nights: int) -> bool:
    """Return whether a kit that is out on something else is back, and sorted in `nights`, before a
    trip's first day: it is due early enough, and not overdue."""
    return due_day is not None and not overdue and due_day <= first_day - timedelta(days=nights)


def _stand(trip: TripNeeds, kit: KitOfTrip, *, departed: bool) -> Stand:
    in_time = back_in_time(trip.first_day, kit.due_day, overdue=kit.overdue, nights=kit.nights)
    cases = (
        (kit.on_it, Stand.OUT_ON_IT),
        (kit.back, Stand.BACK),
        (departed, Stand.STAYED),
        (kit.elsewhere, Stand.COMING if in_time else Stand.AWAY),
        (kit.alone.fit, Stand.READY),
    )
    return next((stand for applies, stand in cases if applies), Stand.NOT_FIT)
