"""What stands about the kits and shelves that people answer for, loaded for many people at once.

The number of queries grows with neither kits nor people. What a kit holds is only loaded where
its stored dates say that it is not fit long enough, or where it goes out soon.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Max, Q, QuerySet

from gearroom.core import clock
from gearroom.core.models import Membership, Person, Room
from gearroom.core.rules.roles import Role
from kits.models import (
    Checkout,
    Hearing,
    Holding,
    InstrumentCheck,
    Kit,
    Lot,
    Notice,
    Place,
    PlaceKind,
    RecallPlace,
    Reservation,
    Trip,
)
from kits.rules import weekly as rule
from kits.rules.facts import Kind, KitState, TripNeeds
from kits.rules.readiness import judge
from kits.services import fitness, notices, promises
from kits.services.stocking import Stockroom


@dataclass(frozen=True)
class Held:
    """Units of a batch somewhere, with what is to be said of them: a date, or none."""

    lot: Lot
    place: Place
    units: int
    day: date | None = None


@dataclass
class Week:
    """All that one person's weekly email is made of."""

    person: Person
    today: date
    horizon: date
    zone: str
    minutes_a_kit: int
    rooms: Sequence[Room] = ()
    kits: list[rule.KitWeek] = field(default_factory=list)
    recalled: list[RecallPlace] = field(default_factory=list)
    medicines: list[Notice] = field(default_factory=list)
    held_back: list[Notice] = field(default_factory=list)
    order: list[rule.ToOrder] = field(default_factory=list)
    not_back: list[Checkout] = field(default_factory=list)
    lost: list[Kit] = field(default_factory=list)
    checks: list[Held] = field(default_factory=list)
    undated: list[Held] = field(default_factory=list)
    ending: list[Held] = field(default_factory=list)
    off_shelves: list[Held] = field(default_factory=list)
    shelves: dict[int, Place] = field(default_factory=dict)


def readers() -> QuerySet[Person]:
    """Everybody whom a weekly email concerns: who answers for a kit, stands in for one, or keeps
    a room's shelves."""
    return (
        Person.objects.filter(
            Q(
                pk__in=Kit.objects.filter(retired_on=None, responsible__isnull=False).values(
                    "responsible"
                )
            )
            | Q(pk__in=Kit.objects.filter(retired_on=None, deputy__isnull=False).values("deputy"))
            | Q(
                pk__in=Membership.objects.filter(role=Role.KEEPER.value, room__isnull=False).values(
                    "person"
                )
            ),
            left_on__isnull=True,
        )
        .select_related("home_room")
        .order_by("pk")
    )


def gather(
    people: Sequence[Person], at: datetime, stock: Stockroom | None = None
) -> dict[int, Week]:
    """What stands for each of these people (with their home rooms) as of an instant, by id."""
    stock = Stockroom() if stock is None else stock
    ids = [p.pk for p in people]
    hearing = {h.person_id: h for h in Hearing.objects.filter(person__in=ids)}
    kits = list(
        Kit.objects.filter(
            Q(responsible__in=ids) | Q(deputy__in=ids),
            retired_on__isnull=True,
            laid_up_since__isnull=True,
            training=False,
        )
        .select_related("home_room", "room", "list_version")
        .order_by("name")
    )
    kept: dict[int, list[Room]] = defaultdict(list)
    for member in Membership.objects.filter(
        person__in=ids, role=Role.KEEPER.value, room__isnull=False
    ).select_related("room"):
        assert member.room is not None  # asked for
        kept[member.person_id].append(member.room)
    weeks: dict[int, Week] = {}
    mine: dict[int, list[Kit]] = {}
    for person in people:
        zone = notices.zone_of(person)
        today = clock.local_date(at, zone)
        mine[person.pk] = [k for k in kits if person.pk in (k.responsible_id, k.deputy_id)]
        rooms = {k.home_room_id: k.home_room for k in mine[person.pk]}
        rooms |= {room.pk: room for room in kept[person.pk]}
        how = hearing.get(person.pk) or Hearing()
        weeks[person.pk] = Week(
            person, today, rule.horizon(today), zone, how.minutes_a_kit, list(rooms.values())
        )
    if not weeks:
        return {}
    stock.load({r.pk: r for w in weeks.values() for r in w.rooms}.values())
    _judge(weeks, mine, stock, at)
    _around(weeks, mine, at)
    _told(weeks, at)
    _inside(weeks, mine, stock)
    return weeks


# ------------------------------------------------------------------------------------ fit to go?
def _judge(
    weeks: dict[int, Week], mine: dict[int, list[Kit]], stock: Stockroom, at: datetime
) -> None:
    kits = {k.pk: k for found in mine.values() for k in found if k.lost_since is None}
    last = max(w.horizon for w in weeks.values())
    promised = _promised(kits, last, at)
    out = {
        c.kit_id: c
        for c in Checkout.objects.filter(
            kit__in=kits, section__isnull=True, in_at__isnull=True
        ).select_related("person", "kit")
    }
    trips = {trip.pk: trip for trip in promised.values()}
    together: dict[int, set[int]] = defaultdict(set)
    for trip_id, kit_id in Reservation.objects.filter(
        trip__in=trips, released__isnull=True
    ).values_list("trip", "kit"):
        together[trip_id].add(kit_id)
    wanted = set().union(*together.values())
    for week in weeks.values():
        for kit in mine[week.person.pk]:
            fit_until = fitness.stored_days(kit).on(week.today).fit_until
            if kit.pk in kits and (fit_until is None or fit_until < week.horizon):
                wanted.add(kit.pk)
    states = fitness.states(wanted) if wanted else {}
    for week in weeks.values():
        shelves = {
            room: rule.Shelves(units) for room, units in stock.units.items()
        }  # each reader's own: what one kit gets is gone for the next
        seen = [
            (
                kit,
                trip if (trip := promised.get(kit.pk)) and trip.first_day <= week.horizon else None,
            )
            for kit in mine[week.person.pk]
            if kit.pk in kits
        ]
        seen.sort(key=lambda pair: (pair[1].first_day if pair[1] else date.max, pair[0].name))
        missing: list[rule.Missing] = []
        for kit, trip in seen:
            others = (
                [states[pk] for pk in sorted(together[trip.pk]) if pk != kit.pk] if trip else []
            )
            found = _week_of(week, kit, trip, states.get(kit.pk), others, shelves, out.get(kit.pk))
            week.kits.append(found)
            if found.restock is not None:
                wanted_on = rule.open_before(found, week.today)
                missing += [
                    rule.Missing(m.thing.id, m.thing.name, m.count, kit.name, wanted_on)
                    for m in found.restock.missing
                ]
        rows = [s for room in week.rooms for s in stock.stocked.get(room.pk, ())]
        lows = [rule.Low(s.item.pk, s.item.name, s.stock, s.level.units) for s in rows if s.low]
        week.order = rule.to_order(
            missing,
            lows,
            stock.lead_days({m.thing_id for m in missing} | {s.item.pk for s in rows}),
            week.today,
        )
        week.shelves = stock.shelves


def _promised(kits: Iterable[int], last: date, at: datetime) -> dict[int, Trip]:
    """The trip that each kit is to be made ready for next, where it begins by `last`."""
    found = promises.next_of(list(kits), at)
    return {pk: each.trip for pk, each in found.items() if each.trip.first_day <= last}


def _week_of(
    week: Week,
    kit: Kit,
    trip: Trip | None,
    state: KitState | None,
    others: Sequence[KitState],
    shelves: dict[int, rule.Shelves],
    held: Checkout | None,
) -> rule.KitWeek:
    through = trip.last_day if trip else week.horizon
    fit_until = fitness.stored_days(kit).on(week.today).fit_until
    verdict = restocked = None
    if state is not None:
        needs: TripNeeds | None = fitness.needs_of(trip) if trip else None
        verdict = judge(state, through, week.today, trip=needs, others=others)
        if not verdict.fit:
            through_restock = through if trip else week.today + timedelta(days=rule.READY_FOR_DAYS)
            room = shelves.get(kit.room_id) or rule.Shelves({})
            restocked = room.settle(state, through_restock, week.today)
    look_by = None
    if kit.looked_inside_on is not None:
        look_by = kit.looked_inside_on + timedelta(days=kit.look_interval_days)
    return rule.KitWeek(
        id=kit.pk,
        name=kit.name,
        through=through,
        going=_going(trip) if trip else None,
        verdict=verdict,
        restock=restocked,
        fit_until=fit_until,
        look_by=look_by,
        room=kit.room_id,
        out_to=(held.person.name if held.person else "?") if held else "",
        due_back=held.due_at if held else None,
    )


def _going(trip: Trip) -> rule.Going:
    return rule.Going(
        name=trip.name,
        departs_at=trip.departs_at,
        first_day=trip.first_day,
        last_day=trip.last_day,
        leader=trip.leader.name if trip.leader else trip.leader_name,
        phone=(trip.leader.phone if trip.leader else "") or trip.leader_phone,
        people=trip.people,
    )


# ---------------------------------------------------------------------------- what else is so
def _around(weeks: dict[int, Week], mine: dict[int, list[Kit]], at: datetime) -> None:
    """Kits not back or lost, and places of open recalls that wait for an answer."""
    ids = {k.pk for found in mine.values() for k in found}
    late = list(
        Checkout.objects.filter(kit__in=ids, in_at__isnull=True, due_at__lt=at)
        .select_related("kit", "person", "section", "trip")
        .order_by("due_at", "pk")
    )
    recalled = list(
        RecallPlace.objects.filter(
            recall__closed__isnull=True, answered__isnull=True, place__kit__in=ids
        )
        .select_related("recall__item", "place__kit__room", "person")
        .order_by("certainty", "pk")
    )
    for week in weeks.values():
        own = {k.pk for k in mine[week.person.pk]}
        week.not_back = [c for c in late if c.kit_id in own]
        week.recalled = [r for r in recalled if r.place.kit_id in own]
        week.lost = [k for k in mine[week.person.pk] if k.lost_since is not None]


def _told(weeks: dict[int, Week], at: datetime) -> None:
    """Medicines counted missing within a week, and notices that wait for the weekly email."""
    for notice in (
        Notice.objects.filter(
            Q(kind="medicine-missing") | Q(unsent_why="weekly", sent_at__isnull=True),
            person__in=weeks,
            taken_back_at__isnull=True,
            created_at__gt=at - timedelta(days=8),
        )
        .select_related("kit", "room", "entry__person", "person")
        .defer("rendered")
        .order_by("pk")
    ):
        week = weeks[notice.person_id]
        if notice.kind == "medicine-missing":
            week.medicines.append(notice)
        else:
            week.held_back.append(notice)


# --------------------------------------------------------------------------- batches in places
def _inside(weeks: dict[int, Week], mine: dict[int, list[Kit]], stock: Stockroom) -> None:
    kit_ids = {k.pk for found in mine.values() for k in found if k.lost_since is None}
    sections = {
        p.pk: p
        for p in Place.objects.filter(kit__in=kit_ids, kind=PlaceKind.SECTION).select_related("kit")
    }
    wanted = {r.pk for w in weeks.values() for r in w.rooms}
    shelves = {pk: p for pk, p in stock.shelves.items() if p.room_id in wanted}
    places: dict[int, Place] = {**sections, **shelves}
    reach = max(
        w.today + timedelta(days=rule.LATER_DAYS) if rule.first_of_month(w.today) else w.horizon
        for w in weeks.values()
    )
    there = Holding.objects.filter(place__in=places, units__gt=0).select_related("lot__item")
    undated = list(
        there.filter(lot__expiry__isnull=True, lot__item__needs_date=True).order_by("place", "lot")
    )
    ending = list(there.filter(lot__expiry__lte=reach).order_by("lot__expiry", "place", "lot"))
    instruments = list(there.filter(lot__item__kind=Kind.INSTRUMENT.value).order_by("place", "lot"))
    newest = (
        InstrumentCheck.objects.filter(lot__in={h.lot_id for h in instruments})
        .values("lot")
        .annotate(newest=Max("id"))
        .order_by()
        .values_list("newest", flat=True)
    )
    due = {c.lot_id: c for c in InstrumentCheck.objects.filter(pk__in=list(newest))}
    owners: dict[int, list[Week]] = defaultdict(list)
    for week in weeks.values():
        own = {k.pk for k in mine[week.person.pk]}
        rooms = {r.pk for r in week.rooms}
        for pk, place in places.items():
            if place.kit_id in own if place.kit_id else place.room_id in rooms:
                owners[pk].append(week)
    for h in undated:
        for week in owners[h.place_id]:
            week.undated.append(Held(h.lot, places[h.place_id], h.units))
    for h in ending:
        row = Held(h.lot, places[h.place_id], h.units, h.lot.expiry)
        for week in owners[h.place_id]:
            _ends(week, row)
    for h in instruments:
        check = due.get(h.lot_id)
        row = Held(h.lot, places[h.place_id], h.units, check.due_on if check else None)
        for week in owners[h.place_id]:
            lapses = check is not None and check.due_on is not None and check.due_on <= week.horizon
            if check is None or not check.passed or lapses:
                week.checks.append(row)


def _ends(week: Week, row: Held) -> None:
    """What is out of date on a shelf; in the month's first email, what ends within ninety days."""
    assert row.day is not None  # asked for by their dates
    last = week.today + timedelta(days=rule.LATER_DAYS)
    if row.day < week.today:
        if row.place.kind == PlaceKind.SHELF:
            week.off_shelves.append(row)
    elif rule.first_of_month(week.today) and week.horizon < row.day <= last:
        week.ending.append(row)
