"""What stands in somebody's weekly email: which kits to open before when, what to order by when.

Each kit stands once, with all that is to be done to it: opening one costs a seal and some twenty
minutes. Nothing is cut; the order is worst first.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from types import MappingProxyType

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger import Reason, ReasonCode, Verdict, Weight, Word
from kits.rules.restocking.picking import READY_FOR_DAYS, RestockList
from kits.rules.trips.trips import Stand

SOON_DAYS, LATER_DAYS = 60, 90


@dataclass(frozen=True)
class Going:
    """A trip that a kit is promised to. `departs_at` is aware; `leader_id` is a person's."""

    name: str
    departs_at: datetime
    first_day: date
    last_day: date
    leader: str
    phone: str
    people: int
    leader_id: int | None = None


@dataclass(frozen=True)
class Answer:
    """How a kit stands for one question: through its verdict's day, and for a trip (`trip` its
    id, `on` its name), if for one. `going` where the kit has still to go on it; `elsewhere` where
    it is out on something else: whether it is back in time."""

    verdict: Verdict
    trip: int | None = None
    on: str = ""
    going: Going | None = None
    elsewhere: Stand | None = None

    @property
    def short(self) -> bool:
        """It is short, or not to be taken; not where nobody entered what is in it."""
        return self.verdict.word in (Word.SHORT, Word.DO_NOT_TAKE)

    @property
    def wrong(self) -> bool:
        """It is short, or not to be taken, or not back in time."""
        return self.short or self.elsewhere is Stand.AWAY


@dataclass(frozen=True)
class KitWeek:
    """A kit, how it stands, and what makes it good.

    `answers` are to the question that every page asks, then to further ones about the weeks ahead;
    none where the days stored with the kit say that it is ready for longer than that. `fit_until`
    is the last day it is ready or low as things are, None for not now; `out` whether somebody has
    it, `out_to` who, where a name is known, and `out_to_reader` whether that is the reader.
    """

    id: int
    name: str
    answers: tuple[Answer, ...] = ()
    restock: RestockList | None = None
    fit_until: date | None = None
    first_expiry: date | None = None
    look_by: date | None = None
    room: int = 0
    room_name: str = ""
    out: bool = False
    out_to: str = ""
    out_to_reader: bool = False
    due_back: datetime | None = None

    @property
    def wrong(self) -> tuple[Answer, ...]:
        """What it is short for, not to be taken for, or not back in time for."""
        return tuple(answer for answer in self.answers if answer.wrong)

    @property
    def short(self) -> bool:
        """It is short for something, or not to be taken for it."""
        return any(answer.short for answer in self.answers)

    @property
    def low(self) -> bool:
        """It is ready, and low on something."""
        return not self.wrong and any(a.verdict.word is Word.LOW for a in self.answers)

    @property
    def set_up(self) -> bool:
        """Somebody entered what is in it."""
        return all(answer.verdict.set_up for answer in self.answers)

    @property
    def going(self) -> Going | None:
        """The next departure it is not ready for; where there is none, its next."""
        departures = [a.going for a in (*self.wrong, *self.answers) if a.going is not None]
        return departures[0] if departures else None

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """All that makes it short or stops it, once each: as it stands for the latest day."""
        latest = sorted(self.wrong, key=lambda answer: answer.verdict.through, reverse=True)
        reasons: dict[tuple[object, ...], Reason] = {}
        for answer in latest:
            for reason in answer.verdict.reasons:
                about = (reason.code, reason.facts.get("line"), reason.facts.get("thing_id"))
                reasons.setdefault(about, reason)
        return tuple(sorted(reasons.values(), key=lambda reason: -reason.weight))

    @property
    def to_bin(self) -> tuple[Reason, ...]:
        """What is out of date inside and does not stop it."""
        own = self.answers[0].verdict.reasons if self.answers else ()
        return tuple(reason for reason in own if reason.code == ReasonCode.EXPIRED_INSIDE)

    @property
    def wants_opening(self) -> bool:
        """Whether something has to be done inside; a mere look is not listed as that."""
        wrong = [r for r in self.reasons if r.weight >= Weight.SHORT]
        return any(r.code != ReasonCode.NOT_LOOKED_INSIDE for r in wrong)


@dataclass(frozen=True)
class ToOrder:
    """Units of a thing to order for a room (`room` its name), by which day, and for what: kits by
    name, or the shelf's level. `on_order`: so many more are to come already;
    `room_slug` is how an address names the room; `supplier`: from whom, where that is known."""

    thing_id: int
    thing: str
    units: int
    by: date
    late: bool
    room: str = ""
    kits: tuple[str, ...] = ()
    level: int | None = None
    stock: int | None = None
    on_order: int = 0
    room_slug: str = ""
    supplier: str = ""


@dataclass(frozen=True)
class Missing:
    """Units that a kit wants and no shelf of the room it is in has, and the day they are wanted
    on."""

    thing_id: int
    thing: str
    units: int
    kit: str
    wanted_on: date
    room: str = ""


@dataclass(frozen=True)
class Low:
    """Stock on a room's shelves that is down to its order level, with what is on order."""

    thing_id: int
    thing: str
    stock: int
    level: int
    room: str = ""


NOTHING_COMES: Mapping[tuple[str, int], int] = MappingProxyType({})


def horizon(today: date) -> date:
    """The Sunday of next week: how far the kits are judged."""
    return today + timedelta(days=13 - today.weekday())


def week_end(today: date) -> date:
    """The last day of "this week's trips": seven days with today."""
    return today + timedelta(days=6)


def first_of_month(day: date) -> bool:
    """Whether a weekly email of that day is its month's first."""
    return day.day <= 7


def by_urgency(kits: Iterable[KitWeek], today: date) -> list[KitWeek]:
    """Kits that are not ready, worst first: by when they are needed, then how bad it is."""
    return sorted(
        kits,
        key=lambda k: (
            open_before(k, today),
            0 if any(not answer.verdict.may_go for answer in k.wrong) else 1,
            k.name,
        ),
    )


def open_before(kit: KitWeek, today: date) -> date:
    """The day before which a kit is to be opened: that its trip leaves, else the day after the
    last on which it is ready or low; today where it is neither now."""
    if kit.going is not None:
        return max(kit.going.first_day, today)
    if kit.fit_until is not None and today <= kit.fit_until < date.max:
        return kit.fit_until + timedelta(days=1)
    return today


def ready_through(kit: KitWeek, today: date) -> date:
    """The day that what is put into a kit should last through: that of the last trip it is not
    ready for; without any, four weeks."""
    trips = [answer.verdict.through for answer in kit.wrong if answer.trip is not None]
    return max(trips, default=today + timedelta(days=READY_FOR_DAYS))


def departures(kits: Iterable[KitWeek], today: date) -> list[Answer]:
    """How kits stand for the trips of this week that they have still to go on."""
    last = week_end(today)
    answers = (answer for kit in kits for answer in kit.answers)
    return [a for a in answers if a.going is not None and a.going.first_day <= last]


def departures_not_ready(kits: Iterable[KitWeek], today: date) -> list[KitWeek]:
    """Kits not ready for a trip of this week, the soonest departure first."""
    last = week_end(today)
    going = [
        (min(times), kit.name, kit)
        for kit in kits
        if (
            times := [
                answer.going.departs_at
                for answer in kit.wrong
                if answer.going is not None and answer.going.first_day <= last
            ]
        )
    ]
    return [kit for *_, kit in sorted(going, key=lambda row: row[:2])]


def order_by(wanted_on: date, lead_days: int, today: date) -> tuple[date, bool]:
    """The last day to order on for having it in time, and whether that has passed."""
    last = wanted_on - timedelta(days=lead_days)
    return max(last, today), last < today


def to_order(
    missing: Iterable[Missing],
    low: Iterable[Low],
    lead_days: dict[int, int],
    today: date,
    coming: Mapping[tuple[str, int], int] = NOTHING_COMES,
) -> list[ToOrder]:
    """What to order, the soonest first: what kits want and no shelf has, and what is down to its
    order level, without what is on order (`coming`, by room and thing). A thing stands once a room.
    """
    wants = grouped(((row.room, row.thing_id), row) for row in missing)
    lows = {(row.room, row.thing_id): row for row in low}
    rows = []
    for room, thing_id in {*wants, *lows}:
        wanting, at_level = wants.get((room, thing_id), []), lows.get((room, thing_id))
        wanted_on = min((m.wanted_on for m in wanting), default=today + timedelta(days=9999))
        by, late = order_by(wanted_on, lead_days.get(thing_id, 0), today)
        on_order = coming.get((room, thing_id), 0)
        units = sum(m.units for m in wanting) - on_order
        if at_level is not None:
            by = today
            units += 2 * at_level.level - at_level.stock  # up to twice the level: not again soon
        if units <= 0:
            continue
        rows.append(
            ToOrder(
                thing_id=thing_id,
                thing=wanting[0].thing if wanting else at_level.thing if at_level else "",
                units=units,
                by=by,
                late=late and bool(wanting),
                room=room,
                kits=tuple(dict.fromkeys(m.kit for m in wanting)),
                level=at_level.level if at_level else None,
                stock=at_level.stock if at_level else None,
                on_order=on_order,
            )
        )
    return sorted(rows, key=lambda r: (r.by, not r.late, r.thing, r.room))
