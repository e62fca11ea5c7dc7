"""What stands about the kits and shelves that people answer for, loaded for many people at once.

The number of queries grows with neither kits nor people. What a kit holds is only loaded where
its stored dates say that it is not fit long enough, or where it goes out soon.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import reduce
from operator import add

from django.conf import settings
from django.db.models import Q, QuerySet

from gearroom.core import clock
from gearroom.core.models import Membership, Person
from gearroom.core.rules.grouping import grouped, summed
from gearroom.core.rules.roles import Role
from kits.models import Checkout, Kit, Notice, RecallPlace, Trip
from kits.rules.mail import digest as rule
from kits.rules.notices.policy import Unsent
from kits.rules.restocking.picking import READY_FOR_DAYS
from kits.rules.restocking.shelves import Shelves
from kits.rules.trips.trips import Stand
from kits.services.buying import season_money, sources
from kits.services.custody import clearances, returns
from kits.services.ledger import Judged, Question, readiness, verdicts
from kits.services.lists import look_again, signatures
from kits.services.lookup import promises
from kits.services.mail.digest.digest_batches import load_batches
from kits.services.mail.digest.digest_rotation import DigestStock
from kits.services.mail.digest.digest_week import Week
from kits.services.notices import preferences, recipients
from kits.services.recalls import recall_notices
from kits.services.restocking import recounts as to_count
from kits.services.rotation import editions
from kits.services.stock import away
from kits.services.stock.order_levels.stock_levels import Stockroom
from kits.services.weather import jobs as weather_jobs


def readers() -> QuerySet[Person]:
    """Everybody whom a weekly email concerns: who answers for a kit, stands in for one, or keeps
    a room's shelves; medical advisers where a list waits for a signature, one ends, or something
    that a list leaves out or a change to several lists is due for another look."""
    today = clock.today(settings.TIME_ZONE)
    to_sign = bool(signatures.waiting() or signatures.ending() or look_again.due(today))
    to_sign = to_sign or bool(look_again.changes_due(today))
    advisers = signatures.advisers() if to_sign else Person.objects.none()
    return (
        Person.objects.filter(
            Q(pk__in=advisers.order_by().values("pk"))
            | Q(pk__in=Kit.objects.active().filter(responsible__isnull=False).values("responsible"))
            | Q(pk__in=Kit.objects.active().filter(deputy__isnull=False).values("deputy"))
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
    people: Sequence[Person],
    at: datetime,
    stock: DigestStock | None = None,
    rooms: Collection[int] | None = None,
) -> dict[int, Week]:
    """What stands for each of these people (with their home rooms) as of an instant, by id; with
    `rooms` (ids) as much of it as is of those: for whoever else windows at it."""
    stock = DigestStock() if stock is None else stock
    ids = [p.pk for p in people]
    choices = preferences.of_many(people)
    kits = list(
        Kit.objects.active()
        .filter(
            Q(responsible__in=ids) | Q(deputy__in=ids), laid_up_since__isnull=True, training=False
        )
        .filter(Q() if rooms is None else Q(home_room__in=rooms))
        .select_related("home_room", "room", "list_version")
        .order_by("name")
    )
    roles = (Role.KEEPER.value, Role.ADVISER.value)
    members = Membership.objects.filter(person__in=ids, role__in=roles).select_related("room")
    rooms_kept = grouped(
        (member.person_id, member.room)
        for member in members
        if member.role == Role.KEEPER.value
        if member.room is not None and (rooms is None or member.room_id in rooms)
    )
    weeks: dict[int, Week] = {}
    for person in people:
        zone = recipients.zone_of(person)
        own = [k for k in kits if person.pk in (k.responsible_id, k.deputy_id)]
        theirs = dict.fromkeys([*(k.home_room for k in own), *rooms_kept[person.pk]])
        minutes = choices[person.pk].minutes_a_kit
        weeks[person.pk] = Week(
            person, clock.local_date(at, zone), zone, minutes, own, list(theirs)
        )
    if not weeks:
        return {}
    stock.load(dict.fromkeys(room for week in weeks.values() for room in week.rooms))
    _judge(weeks, stock, at)
    _around(weeks, at)
    _notices(weeks, at, rooms)
    advisers = {member.person_id for member in members if member.role == Role.ADVISER.value}
    today = clock.local_date(at, settings.TIME_ZONE)
    due, changes = look_again.due(today), look_again.changes_due(today)
    for week in weeks.values():
        signs = week.person.pk in advisers
        week.look_again = due if signs else look_again.of_kits(due, week.own)
        week.changes_due = changes if signs else look_again.changes_of_kits(changes, week.own)
    if advisers:
        waiting, ending = signatures.waiting(), signatures.ending()
        for pk in advisers:
            weeks[pk].to_sign, weeks[pk].signatures_end = waiting, ending
    _weather(weeks)
    _old_editions(weeks)
    load_batches(weeks, stock)
    for week in weeks.values():
        of_rooms = filter(None, (stock.rotation(room, at) for room in week.rooms))
        week.rotations = [each for each in of_rooms if each.money_saved > 0]
    _add_up_money(list(weeks.values()), today)
    _name_suppliers(list(weeks.values()))
    return weeks


# --------------------------------------------------------------------------------------- ready?
def _judge(weeks: dict[int, Week], stock: Stockroom, at: datetime) -> None:
    kits = {k.pk: k for week in weeks.values() for k in week.own if k.lost_since is None}
    out = {
        c.kit_id: c
        for c in Checkout.objects.open()
        .of_whole_kits()
        .filter(kit__in=kits)
        .select_related("person")
    }
    own = verdicts.questions_of(kits.values(), at)
    promised = promises.of_kits(kits, at)
    ahead = {pk: [each.trip for each in promised.get(pk, ())] for pk in kits}
    wanted = {
        (week.person.pk, kit.pk): _questions(week, kit, own[kit.pk], ahead[kit.pk], out.get(kit.pk))
        for week in weeks.values()
        for kit in week.own
        if kit.pk in kits
    }
    keys = dict.fromkeys((pk, each) for (_, pk), asking in wanted.items() for each in asking)
    known = dict(
        zip(keys, verdicts.answers([(kits[pk], each) for pk, each in keys], at), strict=True)
    )
    judged = {
        (person, pk): _week_of(
            weeks[person], kits[pk], [known[pk, each] for each in questions], out.get(pk), at
        )
        for (person, pk), questions in wanted.items()
    }
    short = {pk for (_, pk), kit in judged.items() if kit.short}
    states = readiness.states(short) if short else {}
    for week in weeks.values():
        shelves = {
            room: Shelves(units) for room, units in stock.units.items()
        }  # each reader's own: what one kit gets is gone for the next
        theirs = [judged[week.person.pk, k.pk] for k in week.own if k.pk in kits]
        theirs.sort(key=lambda k: (k.going.first_day if k.going else date.max, k.name))
        for kit in theirs:
            room = shelves.get(kit.room) or Shelves({})
            listed = None
            if kit.short:
                through = _through(kit, promised.get(kit.id, ()), week.today)
                listed = room.settle(states[kit.id], through, week.today)
            week.kits.append(replace(kit, restock=listed))
        week.order = _order(week, stock)
        theirs_too = {room.pk for room in week.rooms}
        week.overdue_orders = [
            line for line in stock.orders if line.late and line.room.pk in theirs_too
        ]
        week.shelves = stock.shelves


def _through(kit: rule.KitWeek, its: Iterable[promises.OpenPromise], today: date) -> date:
    """The day that a kit is restocked through: as its own page has it, and through every trip that
    it is not ready for."""
    four_weeks_on = today + timedelta(days=READY_FOR_DAYS)
    ahead = promises.ready_through(its, kit.id, four_weeks_on)
    return max(ahead, rule.ready_through(kit, today))


def _order(week: Week, stock: Stockroom) -> list[rule.ToOrder]:
    missing = [
        rule.Missing(
            m.thing.id,
            m.thing.name,
            m.count,
            kit.name,
            rule.open_before(kit, week.today),
            kit.room_name,
        )
        for kit in week.kits
        if kit.restock is not None
        for m in kit.restock.missing
    ]
    rows = [s for room in week.rooms for s in stock.stocked.get(room.pk, ())]
    lows = [
        rule.Low(s.item.pk, s.item.name, s.stock, s.level.units, s.room.name) for s in rows if s.low
    ]
    lead_days = stock.lead_days({m.thing_id for m in missing} | {s.item.pk for s in rows})
    coming = summed(
        ((line.room.name, line.item.pk), line.units) for line in stock.orders if not line.missing
    )
    slugs = {room.name: room.slug for room in week.rooms} | {
        kit.room.name: kit.room.slug for kit in week.own
    }
    return [
        replace(row, room_slug=slugs.get(row.room, ""))
        for row in rule.to_order(missing, lows, lead_days, week.today, coming)
    ]


def _name_suppliers(weeks: Sequence[Week]) -> None:
    """Say of what is to be ordered from whom."""
    known = sources.suppliers_of(row.thing_id for week in weeks for row in week.order)
    for week in weeks:
        week.order = [replace(row, supplier=known.get(row.thing_id, "")) for row in week.order]


def _add_up_money(weeks: Sequence[Week], today: date) -> None:
    """What was thrown away and saved this season in each reader's rooms."""
    known = season_money.of_rooms({room for week in weeks for room in week.rooms}, today)
    for week in weeks:
        own = [known[room.pk] for room in week.rooms]
        week.money = reduce(add, own) if own else week.money


def _questions(
    week: Week, kit: Kit, own: Question, ahead: Sequence[Trip], held: Checkout | None
) -> list[Question]:
    """What a kit is judged for: what every page judges it for; each further trip that it is
    reserved for and that begins by the horizon; without any, through the horizon. Nothing where the
    days stored with it say that it is ready for longer, and nothing in it is out of date."""
    on_now = held.trip_id if held else None
    promised = [t for t in ahead if t.first_day <= week.horizon and t.pk != on_now]
    further = [Question(max(t.last_day, week.today), t) for t in promised if t != own.trip]
    if not promised and own.through < week.horizon:
        further = [Question(week.horizon, None)]
    questions = [own, *further]
    ready_until = readiness.stored_days(kit).on(week.today).ready_until
    dated = kit.first_expiry is not None and kit.first_expiry < week.today
    if any(each.trip for each in questions) or dated or ready_until is None:
        return questions
    return questions if ready_until < max(each.through for each in questions) else []


def _week_of(
    week: Week, kit: Kit, judged: Sequence[Judged], held: Checkout | None, at: datetime
) -> rule.KitWeek:
    answers = [_answer(kit, each, held, at) for each in judged]
    # What may be by the horizon is only worth saying of a kit that is well until then.
    kept = [
        answer
        for n, answer in enumerate(answers)
        if n == 0 or answer.trip is not None or (answer.wrong and not answers[0].wrong)
    ]
    return rule.KitWeek(
        id=kit.pk,
        name=kit.name,
        answers=tuple(kept),
        fit_until=readiness.stored_days(kit).on(week.today).fit_until,
        first_expiry=kit.first_expiry,
        look_by=kit.look_by,
        room=kit.room_id,
        room_name=kit.room.name,
        out=held is not None,
        out_to=_names(held.person) if held and held.person else "",
        out_to_reader=held is not None and held.person_id == week.person.pk,
        due_back=held.due_at if held else None,
    )


def _answer(kit: Kit, judged: Judged, held: Checkout | None, at: datetime) -> rule.Answer:
    if (trip := judged.question.trip) is None:
        return rule.Answer(judged.verdict)
    if held is not None and held.trip_id == trip.pk:
        return rule.Answer(judged.verdict, trip.pk, trip.name)
    elsewhere = None
    if held is not None:
        in_time = promises.back_in_time(held, kit.home_room, trip, at)
        elsewhere = Stand.COMING if in_time else Stand.AWAY
    going = rule.Going(
        name=trip.name,
        departs_at=trip.departs_at,
        first_day=trip.first_day,
        last_day=trip.last_day,
        leader=trip.leader.name if trip.leader else trip.leader_name,
        phone=(trip.leader.phone if trip.leader else "") or trip.leader_phone,
        people=trip.people,
        leader_id=trip.leader_id,
    )
    return rule.Answer(judged.verdict, trip.pk, trip.name, going, elsewhere)


def _names(person: Person) -> str:
    return " ".join(filter(None, (person.name, person.phone)))


# ---------------------------------------------------------------------------- what else is so
def _around(weeks: dict[int, Week], at: datetime) -> None:
    """Kits not back or lost, those cleared by phone that nobody confirmed, and places of open
    recalls that wait for an answer."""
    kits = [kit for week in weeks.values() for kit in week.own]
    ids = {kit.pk for kit in kits}
    late = list(
        Checkout.objects.open()
        .filter(kit__in=ids, due_at__lt=at)
        .select_related("kit", "person", "section", "trip")
        .order_by("due_at", "pk")
    )
    recalled = list(
        RecallPlace.objects.filter(
            recall__closed__isnull=True, answered__isnull=True, place__kit__in=ids
        )
        .select_related("recall__item", "place__kit__room", "person")
        .order_by("recall", "place__kit__name", "pk")
    )
    having = recall_notices.now_with(recalled)
    uncleared = clearances.unanswered(ids, at)
    jobs = to_count.jobs(kits, at)
    needs = list(
        returns.needs_in_force().filter(
            entry__kit__in=ids, entry__recorded_at__gt=at - timedelta(days=7)
        )
    )
    gone = away.in_rooms({room.pk for week in weeks.values() for room in week.rooms})
    for week in weeks.values():
        own = {k.pk for k in week.own}
        week.not_back = [(c, c.due_at) for c in late if c.kit_id in own and c.due_at]
        by_recall = grouped(
            (row.recall_id, (row, having[row.place_id]))
            for row in recalled
            if row.place.kit_id in own
        )
        week.recalled = list(by_recall.values())
        week.lost = [(k, k.lost_since) for k in week.own if k.lost_since]
        week.to_count = [j for j in jobs if any(k.pk in own for k in j.kits)]
        week.unmet = [n for n in needs if n.entry.kit_id in own]
        week.away = [a for a in gone if a.kit.pk in own]
        week.uncleared = [c for c in uncleared if c.checkout.kit_id in own]


def _weather(weeks: dict[int, Week]) -> None:
    """What has to be moved for the weather, or back: of their own kits, and of shelves."""
    rooms = {room.pk for week in weeks.values() for room in week.rooms}
    known = {
        day: weather_jobs.of_rooms(rooms, day) for day in {week.today for week in weeks.values()}
    }
    for week in weeks.values():
        own, theirs = {kit.pk for kit in week.own}, {room.pk for room in week.rooms}
        week.weather = [
            job
            for job in known[week.today]
            if (job.kit.pk in own if job.kit else job.location.room_id in theirs)
        ]


def _old_editions(weeks: dict[int, Week]) -> None:
    """Old editions of documents in their kits."""
    kits = {k.pk: k for week in weeks.values() for k in week.own if k.lost_since is None}
    old = grouped((row.kit.pk, row) for row in editions.old_in(kits.values()))
    for week in weeks.values():
        week.old_editions = {k.pk: old[k.pk] for k in week.own if k.pk in old}


def _notices(weeks: dict[int, Week], at: datetime, rooms: Collection[int] | None) -> None:
    """Medicines counted missing within a week, and notices that wait for the weekly email."""
    for notice in (
        Notice.objects.filter(
            Q(kind="medicine-missing") | Q(unsent_why=Unsent.WEEKLY, sent_at__isnull=True),
            person__in=weeks,
            taken_back_at__isnull=True,
            created_at__gt=at - timedelta(days=8),
        )
        .filter(Q() if rooms is None else Q(room__in=rooms))
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
