"""The verdict that every surface shows of a kit, with the question it answers."""

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from gearroom.core import clock
from kits.models import Checkout, Kit, Trip
from kits.rules.ledger import Coming, KitState, Out, Verdict, judge, last_days
from kits.rules.ledger.question import question
from kits.services.ledger import readiness
from kits.services.lookup import promises


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


@dataclass(frozen=True)
class Change:
    """A verdict that holds from a day on, until the next."""

    first_day: date
    judged: Judged

    def holds(self, later: Judged) -> bool:
        """Whether the verdict on a later day is the same."""
        return (
            self.judged.verdict.reasons == later.verdict.reasons
            and self.judged.question.trip == later.question.trip
        )


def judged(kits: Collection[Kit]) -> dict[int, Judged]:
    """The verdict on each of these kits (with their home rooms), by id; see
    `kits.rules.ledger.question`.
    The number of queries does not grow with the kits."""
    return verdicts(kits, questions_of(kits))


def verdict(kit: Kit, through: date, trip: Trip | None = None) -> Verdict:
    """Ready through a day? For a trip, also whether it suits together with the trip's other
    kits: those reserved for it, and those out on it."""
    return answers([(kit, Question(through, trip))])[0].verdict


def judged_one(kit: Kit) -> Judged:
    """The verdict on one kit."""
    return judged([kit])[kit.pk]


def questions_of(kits: Collection[Kit], at: datetime | None = None) -> dict[int, Question]:
    """The question that each of these kits is judged by, by the kit's id; as of an instant (None:
    now)."""
    return {kit: rows[0] for kit, rows in _questions_by_day(kits, 1, at).items()}


def _questions_by_day(
    kits: Collection[Kit], days: int, at: datetime | None = None
) -> dict[int, list[Question]]:
    """The questions that each of these kits is judged by on so many days, from today, if nothing
    is done."""
    at = at or clock.now()
    out = {
        held.kit_id: held
        for held in Checkout.objects.open()
        .of_whole_kits()
        .filter(kit__in=kits)
        .select_related("trip")
    }
    coming = promises.of_kits([kit.pk for kit in kits if kit.pk not in out], at)
    return {
        kit.pk: [
            _question(
                kit,
                _today(kit, at) + timedelta(days=n),
                out.get(kit.pk),
                [each.trip for each in coming.get(kit.pk, ())],
            )
            for n in range(days)
        ]
        for kit in kits
    }


def _question(kit: Kit, day: date, held: Checkout | None, coming: Iterable[Trip]) -> Question:
    zone = kit.home_room.time_zone
    trips = {trip.pk: trip for trip in coming}
    out = None
    if held is not None:
        due_on = clock.local_date(held.due_at, zone) if held.due_at else None
        out = Out(held.trip_id, held.trip.last_day if held.trip else None, due_on)
        trips |= {held.trip.pk: held.trip} if held.trip else {}
    ahead = (
        Coming(t.first_day, t.last_day, t.pk, clock.local_date(t.returns_at, zone)) for t in coming
    )
    through, trip = question(day, out, ahead)
    return Question(through, trips[trip] if trip is not None else None)


def changes(kits: Collection[Kit], days: int) -> dict[int, list[Change]]:
    """The verdicts on each of these kits (with their home rooms) today and on the days after it,
    `days` in all, if nothing is done: by id, the verdicts in order of the day that each begins. A
    verdict holds for what is judged on later days until the next: the day that it judged, or that
    day itself where it is later. The number of queries does not grow with the kits."""
    questions = _questions_by_day(kits, days)
    trips = {each.trip.pk for rows in questions.values() for each in rows if each.trip is not None}
    together = readiness.kits_of_trips(trips)
    states = readiness.states({kit.pk for kit in kits}.union(*together.values()))
    return {kit.pk: list(_changes(kit, questions[kit.pk], together, states)) for kit in kits}


def _changes(
    kit: Kit,
    questions: Iterable[Question],
    together: Mapping[int, set[int]],
    states: Mapping[int, KitState],
) -> Iterable[Change]:
    state, today = states[kit.pk], readiness.today_of(kit)
    ends = sorted(last_days(state))
    before: tuple[int, int, Trip | None] | None = None
    visible: Change | None = None
    for n, each in enumerate(questions):
        day = today + timedelta(days=n)
        now = (bisect_left(ends, day), bisect_left(ends, each.through), each.trip)
        # Judged again only for another trip, or where a day that matters has passed.
        if now != before:
            judged = Judged(each, _judge(state, day, each, together, states))
            if visible is None or not visible.holds(judged):
                visible = Change(day, judged)
                yield visible
        before = now


def _judge(
    state: KitState,
    today: date,
    to: Question,
    together: Mapping[int, set[int]],
    states: Mapping[int, KitState],
) -> Verdict:
    trip = to.trip
    others = sorted(together[trip.pk] - {state.id}) if trip is not None else ()
    return judge(
        state,
        to.through,
        today,
        trip=readiness.needs_of(trip) if trip is not None else None,
        others=[states[pk] for pk in others],
    )


def verdicts(kits: Collection[Kit], questions: Mapping[int, Question]) -> dict[int, Judged]:
    """Kits judged by the questions given for them, by id: with a trip, together with all of its
    kits."""
    judged = answers([(kit, questions[kit.pk]) for kit in kits])
    return {kit.pk: answer for kit, answer in zip(kits, judged, strict=True)}


def answers(questions: Sequence[tuple[Kit, Question]], at: datetime | None = None) -> list[Judged]:
    """Kits judged by questions, any number to a kit, in the order given: with a trip, together with
    all of its kits. `at` is the instant whose today it is (None: now)."""
    at = at or clock.now()
    together = readiness.kits_of_trips({q.trip.pk for _, q in questions if q.trip is not None})
    wanted = {kit.pk for kit, _ in questions}.union(*together.values())
    states = readiness.states(wanted) if wanted else {}
    return [
        Judged(each, _judge(states[kit.pk], _today(kit, at), each, together, states))
        for kit, each in questions
    ]


def _today(kit: Kit, at: datetime) -> date:
    return clock.local_date(at, kit.home_room.time_zone)
