"""Alarms speak by the one verdict of every page."""

from datetime import timedelta

import pytest
from django.utils import timezone

from gearroom.core.models import Person
from kits.models import Checkout, Notice, Trip
from kits.rules.ledger.facts import Word
from kits.services.custody import custody
from kits.services.ledger import verdicts
from kits.services.mail import (
    alarms,
    notice_texts,
)
from kits.services.restocking import sorting
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import World, act, days
from tests.kits.mail.weeks import reserved, used, week_of
from tests.present import present

pytestmark = pytest.mark.django_db


def alarmed(kind: str) -> list[str]:
    rows = Notice.objects.filter(kind=kind, person__name="Kim").order_by("pk")
    return [kit["verdict_text"] for row in rows for kit in row.facts["kits"]]


def test_alarms_judge_the_trips_kits_together_and_say_what_they_lack_once(w: World) -> None:
    trip = reserved(w, w.day_01, 1, people=25)
    other = make.kit("DAY-03", w.version, w.store)
    sorting.restock(act(), other)
    reservations.reserve(act(w.keeper), other, trip)
    alarms.going_soon(timezone.now())
    assert alarmed("not-fit") == ["Ask first: the trip’s kits serve 20 of 25 people"]
    third = make.kit("DAY-04", w.version, w.store)
    sorting.restock(act(), third)
    reservations.reserve(act(w.keeper), third, trip)
    alarms.going_soon(timezone.now())
    assert len(alarmed("not-fit")) == 1


def test_a_low_kit_alarms_nobody(w: World) -> None:
    reserved(w, w.day_01, 1)
    used(w, w.dressing, 1)
    assert verdicts.judged_one(make.fresh(w.day_01)).verdict.word is Word.LOW
    alarms.going_soon(timezone.now())
    assert not Notice.objects.exists()


def test_a_kit_back_before_its_trip_departs_is_alarmed_for_like_any_other(w: World) -> None:
    trip = reserved(w, w.day_01, 1)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, trip=trip)
    alarms.going_soon(timezone.now())
    assert alarmed("not-fit") == []
    custody.check_in(act(w.guide), make.fresh(w.day_01))
    alarms.going_soon(timezone.now())
    assert alarmed("not-fit") == ["Do not take: needs sorting"]


def test_a_trip_that_lacks_a_kit_is_alarmed_for_while_one_that_went_unreserved_is_back(
    w: World,
) -> None:
    trip = reserved(w, w.day_01, 1, people=15)
    other = make.kit("DAY-03", w.version, w.store)
    sorting.restock(act(), other)
    for kit in (w.day_01, other):
        custody.check_out(
            act(w.keeper),
            make.fresh(kit),
            person=w.guide,
            trip=trip,
            short_reason="the other one goes too",
        )
    alarms.going_soon(timezone.now())
    assert alarmed("not-covered") == []

    custody.check_in(act(w.guide), make.fresh(other))
    alarms.going_soon(timezone.now())

    notice = Notice.objects.get(kind="not-covered", person__name="Kim")
    assert notice.facts["reasons"] == [
        "There are 15 people on the trip, but its kits serve only 10."
    ]


def test_an_alarm_says_the_verdict_and_what_it_was_judged_for(w: World) -> None:
    reserved(w, w.day_01, 1)
    used(w, w.shears, 1)
    alarms.going_soon(timezone.now())
    letter = notice_texts.letter(present(Notice.objects.filter(kind="not-fit").first()))
    assert letter.subject == "DAY-01 for Hill day: Ask first: no Shears"
    assert "fit" not in letter.first[0].text.split()
    assert letter.first[0].verdicts[0].text == "Ask first: no Shears"


def test_a_kit_that_is_out_on_something_else_is_alarmed_for_two_days_before_and_not_sooner(
    w: World,
) -> None:
    reserved(w, w.day_01, 2)
    Trip.objects.update(departs_at=timezone.now() + timedelta(hours=49))
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, emergency=True)
    Checkout.objects.update(trip=None, reservation=None, due_at=None)
    Notice.objects.all().delete()
    alarms.going_soon(timezone.now())
    assert not Notice.objects.exists()
    alarms.going_soon(timezone.now() + timedelta(hours=2))
    notice = Notice.objects.filter(kind="not-fit").first()
    letter = notice_texts.letter(present(notice))
    assert letter.subject == "DAY-01 for Hill day: still out"
    assert letter.first[0].lines[0] == (
        "The kit is out: Gil has it (no phone on record), with no return time set."
    )
    alarms.going_soon(timezone.now() + timedelta(hours=3))
    assert Notice.objects.filter(kind="not-fit", person=w.keeper).count() == 1


def test_an_alarm_is_in_the_language_of_each_whom_it_tells(w: World) -> None:
    Person.objects.filter(pk=w.keeper.pk).update(language="de")
    reserved(w, w.day_01, 1)
    used(w, w.shears, 1)
    alarms.going_soon(timezone.now())
    english, german = (
        Notice.objects.get(kind="not-fit", person=person).facts["kits"][0]["reasons"]
        for person in (w.instructor, w.keeper)
    )
    assert english == ["Shears: 0 of 1 in the kit, minimum 1."]
    assert len(german) == 1 and german != english


def test_a_kit_back_early_is_not_restocked_for_the_trip_it_came_back_from(w: World) -> None:
    soon = make.some(w.dressing, w.shelf, 9, "SOON", days(2))
    reserved(w, w.day_01, 1)
    custody.check_out(act(w.keeper), make.fresh(w.day_01), already_gone=True)
    custody.check_in(act(w.keeper), make.fresh(w.day_01))
    used(w, w.dressing, 3)

    (kit,) = [each for each in week_of(w).kits if each.name == "DAY-01"]

    put_in = present(kit.restock).put_in
    assert put_in and soon.pk not in {row.batch.id for row in put_in}
