"""Faults of trips and of the one verdict."""

import dataclasses
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from tests.world.faults.fault import fault


# ---- trips, and who takes what
@fault(
    "a kit that is back before its trip has ended still serves it",
    "coverage",
    cards="take-for-trip hand-back-later",
    week=4,
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.trips import trips

    right = trips._stand

    def stand(trip: Any, kit: Any, *, departed: bool) -> Any:
        got = right(trip, kit, departed=departed)
        return trips.Stand.OUT_ON_IT if got is trips.Stand.STAYED else got

    patch.setattr(trips, "_stand", stand)


@fault(
    "a kit goes for its next promise, however far off and whoever takes it",
    "code",
    "kit",
    cards="take-without-trip hand-back-closed",
    week=3,
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.trips import trips

    def goes_out_for(promises: Any, kit: int, today: date, taker: Any, **more: Any) -> Any:
        return trips.next_promise(promises, kit)

    patch.setattr(trips, "goes_out_for", goes_out_for)


@fault("a kit promised to another's trip goes at once", "code", cards="take-anothers")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.custody import custody

    patch.setattr(custody, "refuse_promised", lambda *a, **k: None)


@fault("any promise at all keeps a kit from being taken", "code")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.trips import trips

    patch.setattr(trips, "share_a_day", lambda *a: True)


@fault(
    "an emergency takes the kit for the guide and the trip it is promised to",
    "kit",
    cards="emergency hand-back-closed",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.custody import custody

    right = vars(custody)["plan"]

    def plan(kit: Any, **more: Any) -> Any:
        if more.get("trip", 0) is None and more.get("due_at", 0) is None:
            more = {"taken_at": more.get("taken_at")}
        return right(kit, **more)

    patch.setattr(custody, "plan", plan)


@fault("without a trip a kit is due at the end of the day", "kit")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.trips import trips

    def due(taken_at: datetime, closing: Any, lives_in: Any) -> datetime:
        return taken_at.replace(hour=23, minute=59, second=59, microsecond=0)

    patch.setattr(trips, "due_without_trip", due)


@fault("a cancelled trip keeps its kits", "code", cards="cancel-trip put-trip reserve")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.trips import reservations

    patch.setattr(reservations, "release_all", lambda *a, **k: [])


@fault(
    "waiting for a kit that comes back too late is no alarm",
    "coverage",
    cards="take-without-trip hand-back-closed",
    week=7,
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.trips import trips

    patch.setattr(trips, "back_in_time", lambda *a, **k: True)


# ---- one verdict
@fault("the question forgets the trip that a kit is out on", "verdict")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.ledger import verdicts

    right = vars(verdicts)["question"]
    patch.setattr(verdicts, "question", lambda today, out, coming: right(today, None, coming))


@fault(
    "a trip in ninety days is what a kit is judged for",
    "verdict",
    cards="put-trip reserve cancel-trip",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.ledger import question

    patch.setattr(question, "DAYS_AHEAD", 90)


@fault(
    "a kit is judged for a trip without the trip's other kits",
    "verdict",
    "coverage",
    "page",
    cards="reserve",
    week=2,
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.ledger import verdicts

    right = vars(verdicts)["judge"]

    def judge(kit: Any, through: date, today: date, *, trip: Any = None, others: Any = ()) -> Any:
        return right(kit, through, today, trip=trip)

    patch.setattr(verdicts, "judge", judge)


@fault("below carry is as good as full", "verdict", "page", "readiness")
def _(patch: pytest.MonkeyPatch) -> None:
    _lighter(patch, "LOW", "NOTE")


@fault("anything out of date stops a kit", "code", "verdict", "coverage", "audit", "offline")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.ledger import readiness

    patch.setattr(readiness, "_stops_when_expired", lambda kit, units: True)


@fault("a medicine that is out of date does not stop a kit", "code", "verdict", "coverage")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.ledger import readiness

    patch.setattr(readiness, "_stops_when_expired", lambda kit, units: False)


@fault(
    "an opened pack is good as long as a closed one",
    "code",
    "verdict",
    "readiness",
    "advice",
    cards="open-pack",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.ledger import expiry

    patch.setattr(expiry, "_opened_through", lambda batch: None)


@fault("a kit whose contents nobody entered is stopped", "code", "verdict", "page")
def _(patch: pytest.MonkeyPatch) -> None:
    _state(patch, contents_entered=True)


@fault(
    "a substitute does not count",
    "code",
    "verdict",
    "advice",
    "coverage",
    cards="restock-with-the-wrong-batch use",
    week=2,
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.ledger import allocation

    right = allocation.Allocation.__init__

    def init(self: Any, lines: Any) -> None:
        right(self, [dataclasses.replace(line, instead=frozenset()) for line in lines])

    patch.setattr(allocation.Allocation, "__init__", init)


@fault(
    "a signature that ends during the trip is not looked at",
    "code",
    "verdict",
    "coverage",
    cards="build restock",
)
def _(patch: pytest.MonkeyPatch) -> None:
    _state(patch, signed_until=date.max - timedelta(days=1))


@fault("pages show a word of their own", "page")
def _(patch: pytest.MonkeyPatch) -> None:
    from gearroom.site.templatetags import gear

    right: Any = gear._mark
    patch.setattr(gear, "_mark", lambda *a: right(*a[:3], type(a[3]).READY, a[4]))


@fault("the words say otherwise than the mark", "page")
def _(patch: pytest.MonkeyPatch) -> None:
    from gearroom.site.templatetags import gear

    right: Any = gear._mark
    patch.setattr(gear, "_mark", lambda *a: right(*a[:4], "Fit to go"))


@fault("the phone's copy says for ever what is so today", "offline")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.ledger import verdicts

    right = verdicts.changes
    patch.setattr(
        verdicts, "changes", lambda *a, **k: {pk: rows[:1] for pk, rows in right(*a, **k).items()}
    )


def _state(patch: pytest.MonkeyPatch, **more: Any) -> None:
    """Let every kit be judged as if this were so of it."""
    from kits.services.ledger import readiness

    right = readiness.states

    def states(*arguments: Any, **named: Any) -> Any:
        loaded = right(*arguments, **named)
        return {pk: dataclasses.replace(state, **more) for pk, state in loaded.items()}

    patch.setattr(readiness, "states", states)


def _lighter(patch: pytest.MonkeyPatch, weight: str, instead: str) -> None:
    """Let reasons of one weight weigh as another."""
    from kits.rules.ledger import readiness
    from kits.rules.ledger.facts import Weight

    right = readiness._counted

    def counted(kit: Any, through: date) -> Any:
        for reason in right(kit, through):
            if reason.weight is Weight[weight]:
                yield dataclasses.replace(reason, weight=Weight[instead])
            else:
                yield reason

    patch.setattr(readiness, "_counted", counted)
