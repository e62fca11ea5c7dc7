"""The kits that stand in a room and are not to be taken as they are, or only after asking; and
what goes out of date in the days ahead."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from gearroom.core.models import Room
from kits.models import Kit
from kits.services.ledger import Judged, Question, readiness, verdicts
from kits.services.stock import views
from kits.services.stock.views import HeldBatch
from kits.services.trips.trip_readiness import JudgedTrip

EXPIRING_DAYS = 7
"""How many days ahead what goes out of date needs attention."""
_NO_DEPARTURE = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class KitToAttend:
    """A kit that is short, or not to be taken, for the question that it is judged by."""

    kit: Kit
    judged: Judged


@dataclass(frozen=True)
class Attention:
    """`listed`: the kits that need attention, the soonest departure first, then what is not to be
    taken; `more`: how many more do than are listed; `not_set_up`: those whose contents nobody
    entered, and that nothing else stops."""

    listed: Sequence[KitToAttend]
    more: int
    not_set_up: Sequence[Kit]


@dataclass(frozen=True)
class Expiring:
    """What is good `through` a day at most, the soonest first; `past`: some of it is out of date
    already."""

    through: date
    rows: Sequence[HeldBatch]
    past: bool


def expiring(room: Room, today: date, named: Collection[int]) -> Expiring:
    """What goes out of date within a week on the shelves of a room and in its kits, here or out,
    but for kits (ids) that are `named` with their first expiry date already."""
    through = today + timedelta(days=EXPIRING_DAYS)
    rows = [row for row in views.expiring_in(room, through) if row.place.kit_id not in set(named)]
    past = any(row.good_until is not None and row.good_until < today for row in rows)
    return Expiring(through, rows, past)


def needing(kits: Collection[Kit], most: int, trips: Iterable[JudgedTrip]) -> Attention:
    """Which of these kits (with their home rooms) need attention, and `most` of them with why;
    `trips` are those whose kits were judged already. The number of queries does not grow with the
    kits."""
    questions = verdicts.questions_of(kits)
    unset = [kit for kit in kits if not kit.contents_entered and _goes(kit, questions[kit.pk])]
    entered = [kit for kit in kits if kit not in unset]
    # The days that are stored with a kit say whether it is fit, but not whether it suits a trip.
    judged = _known(entered, questions, trips)
    promised = [kit for kit in entered if questions[kit.pk].trip and kit.pk not in judged]
    judged |= verdicts.verdicts(promised, questions) if promised else {}
    failing = [
        kit
        for kit in entered
        if not (judged[kit.pk].verdict.fit if kit.pk in judged else _fit(kit, questions[kit.pk]))
    ]
    failing.sort(key=lambda kit: _order(kit, questions[kit.pk]))
    listed = failing[:most]
    rest = [kit for kit in listed if kit.pk not in judged]
    judged |= verdicts.verdicts(rest, questions) if rest else {}
    return Attention(
        [KitToAttend(kit, judged[kit.pk]) for kit in listed], len(failing) - len(listed), unset
    )


def _known(
    kits: Iterable[Kit], questions: Mapping[int, Question], trips: Iterable[JudgedTrip]
) -> dict[int, Judged]:
    by_trip = {
        (row.kit.pk, trip.trip): row.verdict
        for trip in trips
        for row in trip.kits
        if row.verdict is not None
    }
    return {
        kit.pk: Judged(questions[kit.pk], by_trip[kit.pk, trip])
        for kit in kits
        if (trip := questions[kit.pk].trip) is not None and (kit.pk, trip) in by_trip
    }


def _fit(kit: Kit, question: Question) -> bool:
    return (readiness.days_now(kit).fit_until or date.min) >= question.through


def _goes(kit: Kit, question: Question) -> bool:
    return (readiness.days_now(kit).may_go_until or date.min) >= question.through


def _order(kit: Kit, question: Question) -> tuple[datetime, bool, str]:
    return (
        question.trip.departs_at if question.trip else _NO_DEPARTURE,
        _goes(kit, question),
        kit.name,
    )
