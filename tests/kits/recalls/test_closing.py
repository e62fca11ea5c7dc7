"""A recall ends: finished, and its batch stays blocked; or withdrawn, and it is good again."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from importlib import import_module
from typing import Any

import pytest
import time_machine
from django.apps import apps

from gearroom.core import clock
from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import (
    Disposal,
    EntryKind,
    Kit,
    Lot,
    Notice,
    Place,
    PlaceKind,
    Recall,
    WithheldKind,
    Withholding,
)
from kits.rules.recalls.certainty import Outcome
from kits.services.custody import custody, use
from kits.services.kits import holds
from kits.services.ledger import audit, known_then, readiness, verdicts
from kits.services.ledger.book import room_place
from kits.services.ledger.known_then import Then
from kits.services.ledger.undo import reversal
from kits.services.recalls import closing, recalls, status
from kits.services.recalls.recalls import Answer
from kits.services.stock import counting, disposing, moving, receiving
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db

LETTER = "the maker's letter of 3 May"


@pytest.fixture
def w() -> make.World:
    return make.world()


def start(w: make.World, scope: str = "number", number: str = "D1") -> Recall:
    return recalls.start(make.act(w.keeper), item=w.dressing, scope=scope, number=number)


def close(
    w: make.World,
    recall: Recall,
    outcome: Outcome | str = Outcome.FINISHED,
    reason: str = "",
    **more: str,
) -> Recall:
    return closing.close(make.act(w.adviser, reason=reason), recall, outcome, **more)


def withdraw(w: make.World, recall: Recall) -> Recall:
    return close(w, recall, Outcome.WITHDRAWN, published_at=LETTER)


def settle(w: make.World, recall: Recall) -> None:
    """Take it out of DAY-01 and send all of it back to the maker."""
    (row,) = [p.row for p in status.of(recall).places if p.place.kit]
    recalls.answer(make.act(w.guide), present(row), Answer.TAKEN_OUT, removed=6)
    disposing.dispose(
        make.act(w.keeper),
        place=quarantine(w),
        lot=Lot.objects.get(pk=w.dressings.pk),
        units=18,
        disposal=Disposal.RETURNED,
    )


def quarantine(w: make.World) -> Place:
    return room_place(w.store, PlaceKind.QUARANTINE)


def arrives(w: make.World, number: str = "D1", expiry: date | None = None) -> receiving.Arrival:
    return receiving.receive(
        make.act(w.keeper), item=w.dressing, shelf=w.shelf, units=5, number=number,
        expiry=expiry or make.days(400),
    )  # fmt: skip


def reasons(kit: Kit) -> set[Any]:
    verdict = verdicts.verdict(make.fresh(kit), make.today())
    return {(r.code, str(r.facts.get("cause", r.facts.get("reason", "")))) for r in verdict.reasons}


# ---------------------------------------------------------------------------------------- finished
def test_it_is_not_finished_while_units_are_in_quarantine_or_a_kit_has_not_answered(
    w: make.World,
) -> None:
    recall = start(w)
    with pytest.raises(Refused) as problem:
        close(w, recall)
    assert problem.value.code == "units-not-accounted-for"
    open_yet = {k: problem.value.facts[k] for k in ("quarantined", "elsewhere", "unanswered")}
    assert open_yet == {"quarantined": 12, "elsewhere": 6, "unanswered": 1}
    assert recalls.find(recall.pk).closed is None


def test_it_is_finished_once_everything_is_accounted_for(w: make.World) -> None:
    recall = start(w)
    settle(w, recall)
    closed = close(w, recall)
    assert (closed.outcome, present(closed.closed).kind) == ("finished", EntryKind.RECALL_CLOSE)
    assert present(closed.closed).detail["outcome"] == "finished"


def test_a_reason_finishes_it_all_the_same_and_stays_on_record(w: make.World) -> None:
    closed = close(w, start(w), reason="the rest was burnt with the hut")
    assert present(closed.closed).reason == "the rest was burnt with the hut"


def test_its_batch_stays_blocked_wherever_it_is(w: make.World) -> None:
    recall = start(w)
    close(w, recall, reason="told to")
    assert Lot.objects.get(pk=w.dressings.pk).recall == recall
    assert ("take-out", "recalled") in reasons(w.day_01)
    with pytest.raises(Refused) as problem:
        moving.move(
            make.act(w.keeper), lot=w.dressings, units=1, source=quarantine(w), target=w.shelf
        )
    assert problem.value.code == "recalled"
    assert list(audit.findings()) == []


@pytest.mark.parametrize("days", [400, 90])
def test_what_arrives_of_it_later_goes_to_quarantine_and_says_so(w: make.World, days: int) -> None:
    recall = start(w)
    settle(w, recall)
    close(w, recall)
    done = arrives(w, " d1", make.days(days))
    assert (done.place, done.entry.irregular) == (quarantine(w), ["recalled"])
    assert [remark.code for remark in done.remarks] == ["recalled"]


def test_a_kit_kept_back_for_it_stays_so_until_somebody_has_looked(w: make.World) -> None:
    make.put_in(w.day_01, w.lots["d2"], w.upper, 2)
    custody.check_in(make.act(w.guide), w.day_01, used=[use.UseLine(w.dressing, 2)])
    main = make.section(w.day_01)
    found = [counting.CountLine(main, 6, item=w.dressing)]
    counting.count(make.act(w.keeper), [main], found, complete=False)
    recall = start(w)
    assert ("withheld", "recall") in reasons(w.day_01)
    close(w, recall, reason="told to")
    assert ("withheld", "recall") in reasons(w.day_01)
    (row,) = [p.row for p in status.of(recall).places if p.place.kit]
    recalls.answer(make.act(w.guide), present(row), Answer.TAKEN_OUT, removed=4)
    assert ("withheld", "recall") not in reasons(w.day_01)


def test_it_is_finished_once(w: make.World) -> None:
    recall = start(w)
    close(w, recall, reason="told to")
    with pytest.raises(Refused) as problem:
        close(w, recall, reason="told to")
    assert problem.value.code == "closed-already"


# --------------------------------------------------------------------------------------- withdrawn
@pytest.mark.parametrize("finished_first", [False, True])
def test_what_the_maker_withdraws_is_good_again_and_the_kits_are_judged(
    w: make.World, finished_first: bool
) -> None:
    before = make.fresh(w.day_01).may_go_until
    recall = start(w)
    if finished_first:
        close(w, recall, reason="told to")
    assert withdraw(w, recall).published_at == LETTER
    assert Lot.objects.get(pk=w.dressings.pk).recall is None
    assert make.fresh(w.day_01).may_go_until == before
    assert arrives(w).place == w.shelf
    assert list(audit.findings()) == []


def test_what_another_recall_is_about_stays_blocked(w: make.World) -> None:
    one, every = start(w), start(w, scope="all", number="")
    close(w, every, reason="told to")
    withdraw(w, one)
    assert Lot.objects.get(pk=w.dressings.pk).recall == every
    assert ("take-out", "recalled") in reasons(w.day_01)


def test_it_lets_go_what_was_kept_back_for_it_alone(w: make.World) -> None:
    recall = start(w)
    Withholding.objects.create(kit=w.day_01, kind=WithheldKind.RECALL, since=recall.entry)
    holds.withhold(make.act(w.keeper), w.day_01, WithheldKind.DRYING)
    withdraw(w, recall)
    kept = Withholding.objects.filter(kit=w.day_01, released=None)
    assert [row.kind for row in kept] == [WithheldKind.DRYING]


@pytest.mark.parametrize(
    ("outcome", "where", "field"),
    [
        ("withdrawn", "", "published_at"),
        ("withdrawn", "  ", "published_at"),
        ("withdrawn", "x" * 301, "published_at"),
        ("finished", LETTER, "published_at"),
        ("over", "", "outcome"),
        ("", "", "outcome"),
    ],
)
def test_it_says_how_it_ended_and_where_a_withdrawal_is_published(
    w: make.World, outcome: str, where: str, field: str
) -> None:
    recall = start(w)
    with pytest.raises(Invalid) as problem:
        close(w, recall, outcome, reason="told to", published_at=where)
    assert field in problem.value.facts["errors"]
    assert recalls.find(recall.pk).closed is None


def test_withdrawn_is_the_end_of_it(w: make.World) -> None:
    recall = start(w)
    withdraw(w, recall)
    for outcome, where in ((Outcome.FINISHED, ""), (Outcome.WITHDRAWN, LETTER)):
        with pytest.raises(Refused) as problem:
            close(w, recall, outcome, reason="told to", published_at=where)
        assert problem.value.code == "closed-already"


# ------------------------------------------------------------------------- out of quarantine
def test_its_units_leave_quarantine_by_an_act_of_their_own_that_can_be_undone(
    w: make.World,
) -> None:
    recall = start(w)
    withdraw(w, recall)
    assert make.units(w.dressings, quarantine(w)) == 12
    entry = closing.put_back(make.act(w.keeper), recall, w.upper)
    assert (make.units(w.dressings, quarantine(w)), make.units(w.dressings, w.upper)) == (0, 12)
    assert (entry.kind, entry.detail) == (EntryKind.MOVE, {"recall": recall.pk})
    reversal.reverse(make.act(w.keeper), entry.pk)
    assert make.units(w.dressings, quarantine(w)) == 12


@pytest.mark.parametrize("finished", [False, True])
def test_nothing_leaves_quarantine_unless_the_maker_withdrew_it(
    w: make.World, finished: bool
) -> None:
    recall = start(w)
    if finished:
        close(w, recall, reason="told to")
    with pytest.raises(Refused) as problem:
        closing.put_back(make.act(w.keeper), recall, w.shelf)
    assert problem.value.code == "not-withdrawn"


def test_what_must_not_be_used_for_another_reason_stays_in_quarantine(w: make.World) -> None:
    old = arrives(w, "D1", make.days(-1)).lot
    recall = start(w)
    withdraw(w, recall)
    closing.put_back(make.act(w.keeper), recall, w.shelf)
    assert make.units(old, quarantine(w)) == 5
    with pytest.raises(Refused) as problem:
        closing.put_back(make.act(w.keeper), recall, w.shelf)
    assert problem.value.code == "nothing-to-put-back"
    assert "because it is out of date" in problem.value.detail
    disposing.dispose(
        make.act(w.keeper),
        place=quarantine(w),
        lot=old,
        units=5,
        disposal=Disposal.RETURNED,
    )
    with pytest.raises(Refused, match="None of the recalled stock is in quarantine"):
        closing.put_back(make.act(w.keeper), recall, w.shelf)


def test_a_guide_puts_nothing_back_and_nothing_goes_into_a_kit(w: make.World) -> None:
    recall = start(w)
    withdraw(w, recall)
    with pytest.raises(NotAllowed):
        closing.put_back(make.act(w.guide), recall, w.shelf)
    with pytest.raises(Invalid):
        closing.put_back(make.act(w.keeper), recall, make.section(w.day_01))


# ------------------------------------------------------------------------------------ opened again
def test_one_finished_too_early_is_followed_again(w: make.World) -> None:
    recall = start(w)
    close(w, recall, reason="told to")
    opened = closing.reopen(make.act(w.keeper), recall)
    assert (opened.closed, opened.outcome) == (None, "")
    assert [p.settled for p in status.of(opened).places if p.place.kit] == [False]


def test_one_withdrawn_by_mistake_blocks_its_batch_again_wherever_it_went(w: make.World) -> None:
    recall = start(w)
    withdraw(w, recall)
    closing.put_back(make.act(w.keeper), recall, w.shelf)
    told = Notice.objects.count()
    closing.reopen(make.act(w.keeper), recall)
    assert Lot.objects.get(pk=w.dressings.pk).recall == recall
    assert (make.units(w.dressings, w.shelf), make.units(w.dressings, quarantine(w))) == (0, 12)
    assert ("take-out", "recalled") in reasons(w.day_01)
    assert Notice.objects.count() == told  # everybody knows of it
    assert list(audit.findings()) == []


def test_only_a_closed_recall_is_opened_again_and_not_beside_the_same_one(w: make.World) -> None:
    recall = start(w)
    with pytest.raises(Refused) as problem:
        closing.reopen(make.act(w.keeper), recall)
    assert problem.value.code == "recall-open"
    close(w, recall, reason="told to")
    start(w)
    with pytest.raises(Refused) as problem:
        closing.reopen(make.act(w.keeper), recall)
    assert problem.value.code == "recalled-already"


def test_an_undo_says_to_open_it_again(w: make.World) -> None:
    closed = close(w, start(w), reason="told to")
    with pytest.raises(Refused, match="Reopen the recall"):
        reversal.reverse(make.act(w.adviser), present(closed.closed_id))


def test_one_closed_before_outcomes_counts_as_finished_after_an_upgrade(w: make.World) -> None:
    recall = start(w)
    withdraw(w, recall)  # as closing was: the batch is good, and the kit may go
    Lot.objects.filter(pk=w.dressings.pk).update(recall=None)
    steps = import_module("kits.migrations.0006_recall_outcomes_and_ways_out")
    Recall.objects.filter(pk=recall.pk).update(outcome="finished", published_at="")
    assert make.fresh(w.day_01).may_go_until is not None
    steps.block_again(apps, None)
    readiness.judge_again()
    assert Lot.objects.get(pk=w.dressings.pk).recall == recall
    assert Lot.objects.get(pk=w.lots["d2"].pk).recall is None
    assert make.fresh(w.day_01).may_go_until is None
    assert list(audit.findings()) == []


def test_what_was_known_of_it_at_a_time_never_changes(w: make.World) -> None:
    def known(at: datetime) -> bool:
        then = Then(at, at)
        return known_then.recalled({w.dressings: "D1"}, then) == {w.dressings.pk}

    answers, now = {}, clock.now()

    def hour(n: int, act: Callable[[], Recall], said: bool) -> None:
        at = now + timedelta(hours=n)
        with time_machine.travel(at, tick=False):
            act()
        answers[at + timedelta(minutes=1)] = said
        assert {at: known(at) for at in answers} == answers

    recall = start(w)
    hour(1, lambda: close(w, recall, reason="told to"), True)
    hour(2, lambda: withdraw(w, recall), False)
    hour(3, lambda: closing.reopen(make.act(w.keeper), recall), True)
    hour(4, lambda: withdraw(w, recall), False)
