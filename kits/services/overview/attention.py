"""The kits that stand in a room and are not to be taken as they are, or only after asking."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from kits.models import Kit
from kits.services.ledger import readiness, verdicts
from kits.services.ledger.verdicts import Judged, Question
from kits.services.trips.trip_readiness import JudgedTrip

_NO_DEPARTURE = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class NeedsHand:
    """A kit that is short, or not to be taken, for the question that it is judged by."""

    kit: Kit
    judged: Judged


@dataclass(frozen=True)
class Needing:
    """`listed`: the kits that need a hand, the soonest departure first, then what is not to be
    taken; `more`: how many more do than are listed; `not_set_up`: those whose contents nobody
    entered, and that nothing else stops."""

    listed: Sequence[NeedsHand]
    more: int
    not_set_up: Sequence[Kit]


def needing(kits: Iterable[Kit], most: int, trips: Iterable[JudgedTrip] = ()) -> Needing:
    """Which of these kits (with their home rooms) need a hand, and `most` of them with why; `trips`
    are those whose kits were judged already. The number of queries does not grow with the kits."""
    kits = list(kits)
    asked = verdicts.questions_of(kits)
    unset = [kit for kit in kits if not kit.contents_entered and _goes(kit, asked[kit.pk])]
    entered = [kit for kit in kits if kit not in unset]
    # The days that are stored with a kit say whether it is fit, but not whether it suits a trip.
    judged = _known(entered, asked, trips)
    promised = [kit for kit in entered if asked[kit.pk].trip and kit.pk not in judged]
    judged |= verdicts.verdicts(promised, asked) if promised else {}
    failing = [
        kit
        for kit in entered
        if not (judged[kit.pk].verdict.fit if kit.pk in judged else _fit(kit, asked[kit.pk]))
    ]
    failing.sort(key=lambda kit: _order(kit, asked[kit.pk]))
    shown = failing[:most]
    rest = [kit for kit in shown if kit.pk not in judged]
    judged |= verdicts.verdicts(rest, asked) if rest else {}
    return Needing(
        [NeedsHand(kit, judged[kit.pk]) for kit in shown], len(failing) - len(shown), unset
    )


def _known(
    kits: Iterable[Kit], asked: Mapping[int, Question], trips: Iterable[JudgedTrip]
) -> dict[int, Judged]:
    by_trip = {
        (row.kit.pk, seen.trip): row.verdict
        for seen in trips
        for row in seen.kits
        if row.verdict is not None
    }
    return {
        kit.pk: Judged(asked[kit.pk], by_trip[kit.pk, trip])
        for kit in kits
        if (trip := asked[kit.pk].trip) is not None and (kit.pk, trip) in by_trip
    }


def _fit(kit: Kit, asked: Question) -> bool:
    return _lasts(readiness.days_now(kit).fit_until, asked)


def _goes(kit: Kit, asked: Question) -> bool:
    return _lasts(readiness.days_now(kit).may_go_until, asked)


def _lasts(until: date | None, asked: Question) -> bool:
    return until is not None and until >= asked.through


def _order(kit: Kit, asked: Question) -> tuple[datetime, bool, str]:
    return asked.trip.departs_at if asked.trip else _NO_DEPARTURE, _goes(kit, asked), kit.name
