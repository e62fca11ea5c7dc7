"""One verdict of a kit, for one question, under the same word wherever it is asked."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from kits.models import Kit
from kits.rules.ledger.facts import Criticality, Word
from kits.services.custody import custody, use
from kits.services.ledger import audit, readiness, verdicts
from kits.services.restocking import sealing, sorting
from kits.services.text import verdict_texts
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(db: None) -> make.World:
    return make.world()


def word(kit: Kit) -> Word:
    return verdicts.judged_one(make.fresh(kit)).verdict.word


def test_a_kit_is_judged_for_the_next_trip_that_it_is_reserved_for_within_a_week(
    w: make.World,
) -> None:
    far = make.trip("Far", w.store, first=8, last=9)
    reservations.reserve(make.act(w.keeper), w.day_01, far)
    assert verdicts.judged_one(w.day_01).question == verdicts.Question(make.today(), None)

    near = make.trip("Near", w.store, first=7, last=9)
    reservations.reserve(make.act(w.keeper), w.day_02, near)
    assert verdicts.judged_one(w.day_02).question == verdicts.Question(make.days(9), near)


def test_a_kit_that_is_out_is_judged_for_the_trip_it_is_on(w: make.World) -> None:
    trip = make.trip("Ridge", w.store, last=3)
    custody.check_out(
        make.act(w.keeper), w.day_01, person=w.guide, trip=trip, short_reason="Only here."
    )
    assert verdicts.judged_one(w.day_01).question == verdicts.Question(make.days(3), trip)


def test_its_word_is_low_where_something_was_used_and_not_replaced(w: make.World) -> None:
    assert word(w.day_01) is Word.READY
    use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 1)])
    judged = verdicts.judged_one(make.fresh(w.day_01)).verdict
    assert judged.word is Word.LOW
    assert verdict_texts.verdict(judged) == "Ready, low on Wound dressing 10 × 12"


def test_a_kit_that_lacks_a_must_have_is_not_to_be_taken_and_says_what_it_lacks(
    w: make.World,
) -> None:
    judged = verdicts.judged_one(w.day_02).verdict
    assert judged.word is Word.DO_NOT_TAKE
    assert verdict_texts.verdict(judged) == "Do not take: no Wound dressing 10 × 12"
    assert judged.by_phone


def test_a_kit_whose_contents_nobody_entered_is_not_set_up_and_may_be_taken_out(
    w: make.World,
) -> None:
    kit = make.kit("DAY-09", w.version, w.store, entered=False)
    assert word(kit) is Word.NOT_SET_UP
    custody.check_out(make.act(w.keeper), kit, person=w.guide)
    custody.check_in(make.act(w.guide), make.fresh(kit))
    assert word(kit) is Word.NOT_SET_UP
    use.log_use(make.act(w.guide), make.fresh(kit), [use.UseLine(w.dressing, 1)])
    assert word(kit) is Word.NOT_SET_UP
    make.put_in(make.fresh(kit), w.dressings, w.shelf, 6)
    assert word(kit) is not Word.NOT_SET_UP
    assert list(audit.findings()) == []


def test_the_first_expiry_is_what_is_earliest_inside(w: make.World) -> None:
    assert make.fresh(w.day_01).first_expiry is not None
    assert make.fresh(w.day_02).first_expiry is None
    assert verdict_texts.first_expiry(None) == ""


def test_every_kit_is_judged_again_after_a_migrate_where_other_rules_judged_it(
    w: make.World,
) -> None:
    Kit.objects.update(judged_by=0, ready_until=None, first_expiry=None)
    readiness.judge_again()
    assert list(audit.findings()) == []
    assert make.fresh(w.day_01).ready_until is not None


def test_two_kits_that_suit_a_trip_only_together_are_both_ready_for_it(w: make.World) -> None:
    trip = make.trip("Crowd", w.store, first=1, last=1, people=15)
    reservations.reserve(make.act(w.keeper), w.day_01, trip)
    assert word(w.day_01) is Word.SHORT
    other = make.kit("DAY-03", w.version, w.store)
    reservations.reserve(make.act(w.keeper), other, trip)
    assert word(w.day_01) is Word.READY


def test_the_number_of_queries_does_not_grow_with_the_kits(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    for number in range(10, 16):
        kit = make.kit(f"DAY-{number}", w.version, w.store)
        trip = make.trip(f"Trip {number}", w.store, first=1, last=1)
        reservations.reserve(make.act(w.keeper), kit, trip)
    with django_assert_max_num_queries(17):
        verdicts.judged(Kit.objects.select_related("home_room"))


def test_what_a_room_says_about_what_is_out_of_date_holds_for_its_kits(w: make.World) -> None:
    wipes = make.item("Wipes")
    version = make.kit_list(
        "Walk", {"main": [(wipes, 2, 1, Criticality.ROUTINE)]}, signed_by=w.adviser
    )
    kit = make.kit("WALK-01", version, w.store)
    old = make.some(wipes, w.shelf, 1, "W1", make.days(1))
    good = make.some(wipes, w.shelf, 2, "W2", make.days(900))
    there = make.section(kit)
    rows = [sorting.PutIn(old, w.shelf, there, 1), sorting.PutIn(good, w.shelf, there, 2)]
    sorting.restock(make.act(), kit, extra=rows, as_listed=False, levels=())
    later = make.days(2)
    with time_machine.travel(timezone.now() + timedelta(days=2), tick=True):
        judged = verdicts.verdict(make.fresh(kit), later)
        assert (judged.word, [r.code for r in judged.reasons]) == (Word.READY, ["expired-inside"])
        w.store.expired_always_stops = True
        w.store.save()
        assert verdicts.verdict(make.fresh(kit), later).word is Word.DO_NOT_TAKE


def test_the_api_says_the_word_the_question_and_the_first_expiry(w: make.World) -> None:
    sealing.reseal(make.act(w.keeper), w.day_01, "0417")
    answer = make.caller(w.guide).get(f"kits/{w.day_01.name}/readiness/").json()
    assert answer["verdict"] == "ready"
    assert answer["verdict_text"] == "Ready"
    assert (answer["through"], answer["trip"]) == (make.today().isoformat(), None)
    assert answer["first_expiry"] == present(make.fresh(w.day_01).first_expiry).isoformat()


def test_what_is_said_of_later_days_is_what_is_judged_when_they_come(w: make.World) -> None:
    soon = make.item("Eye wash")
    version = make.kit_list(
        "Walk", {"main": [(soon, 2, 1, Criticality.ROUTINE)]}, signed_by=w.adviser
    )
    lot = [make.some(soon, w.shelf, 1, f"E{n}", make.days(n)) for n in (4, 12, 500)]
    kits = [make.kit(f"WALK-{n}", version, w.store) for n in range(3)]
    for kit, inside in zip(kits, (lot[:2], lot[1:], lot[2:]), strict=True):
        rows = [sorting.PutIn(each, w.shelf, make.section(kit), 1) for each in inside]
        if kit is kits[1]:
            rows = rows[1:]
            make.some(soon, w.shelf, 1, "E500", make.days(500))
        sorting.restock(make.act(), kit, extra=rows, as_listed=False, levels=())
    for kit, first, last in ((kits[0], 9, 10), (kits[0], 20, 21), (w.day_01, 1, 2)):
        trip = make.trip(f"Trip {first}", w.store, first=first, last=last)
        reservations.reserve(make.act(w.keeper), kit, trip)
    custody.check_out(make.act(w.keeper), w.day_02, person=w.guide, emergency=True)
    every = list(Kit.objects.select_related("home_room"))
    changes = verdicts.changes(every, 35)

    for n in range(35):
        day = make.days(n)
        with time_machine.travel(timezone.now() + timedelta(days=n), tick=True):
            now = verdicts.judged(every)
        for kit in every:
            said = [row for row in changes[kit.pk] if row.first_day <= day][-1].judged
            assert said.verdict.reasons == now[kit.pk].verdict.reasons, (kit, n)
            assert said.question.trip == now[kit.pk].question.trip, (kit, n)
            assert max(said.question.through, day) == now[kit.pk].question.through, (kit, n)
    assert len(changes[kits[0].pk]) >= 5
    assert len(changes[w.day_01.pk]) == 2


def test_changes_by_day_are_as_many_queries_for_many_kits_as_for_few(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    for number in range(10, 16):
        kit = make.kit(f"DAY-{number}", w.version, w.store)
        trip = make.trip(f"Trip {number}", w.store, first=1, last=1)
        reservations.reserve(make.act(w.keeper), kit, trip)
    with django_assert_max_num_queries(17):
        verdicts.changes(Kit.objects.select_related("home_room"), 35)
