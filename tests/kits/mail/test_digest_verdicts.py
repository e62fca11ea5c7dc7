"""The weekly email and the calendar speak by the one verdict of every page."""

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone
from icalendar import Calendar

from gearroom.core.models import Person
from kits.models import Checkout, Holding, Kit, Lot, Notice
from kits.rules.ledger.facts import Criticality, Word
from kits.services.custody import custody
from kits.services.ledger import readiness, verdicts
from kits.services.mail import alarms, calendar, overdue, picking_list, rendering
from kits.services.mail.digest import digest_text
from kits.services.restocking import sorting
from kits.services.stock import instruments
from kits.services.text import verdict_texts
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import World, act, days
from tests.kits.mail.weeks import reserved, said, text_of, used, week_of

pytestmark = pytest.mark.django_db


def marks_of(w: World) -> dict[tuple[str, str, str], tuple[str, str]]:
    """What the letter's page says of each kit, day and trip: the mark, and the visible words."""
    page = rendering.html(digest_text.letter(week_of(w)))
    found = re.findall(
        r'<b\s+data-kit="([^"]*)"\s+data-through="([^"]*)"\s+data-trip="([^"]*)"'
        r'\s+data-verdict="([^"]*)">([^<]*)</b>',
        page,
    )
    return {(kit, day, trip): (slug, text.strip()) for kit, day, trip, slug, text in found}


# ------------------------------------------------------------------------------ the weekly email
@pytest.mark.parametrize("first", [2, 7])
def test_the_email_says_a_kits_own_verdict_with_the_day_and_the_trip_it_is_judged_for(
    w: World, first: int
) -> None:
    trip = reserved(w, w.day_01, first)
    used(w, w.shears, 1)
    judged = verdicts.judged_one(make.fresh(w.day_01))

    assert marks_of(w)[w.day_01.name, days(first).isoformat(), str(trip.pk)] == (
        "short",
        verdict_texts.verdict(judged.verdict),
    )
    text = said(text_of(w))
    assert "Ask first: no Shears (status for " in text
    assert ", Hill day)" in text
    assert verdict_texts.first_expiry(days(300)) in text
    assert "through" not in text.lower()
    assert "not fit" not in text.lower()


def test_two_kits_that_suit_a_trip_only_together_are_not_said_to_be_short(w: World) -> None:
    trip = reserved(w, w.day_01, 1, people=15)
    assert "Ask first: the trip’s kits serve 10 of 15 people" in said(text_of(w))
    other = make.kit("DAY-03", w.version, w.store)
    sorting.restock(act(), other)
    reservations.reserve(act(w.keeper), other, trip)
    assert "Ask first" not in said(text_of(w))
    assert marks_of(w) == {}


def test_a_trip_after_a_week_but_before_the_emails_end_is_judged_apart(w: World) -> None:
    monday = timezone.now() + timedelta(days=7 - timezone.now().weekday())
    with time_machine.travel(monday):
        trip = reserved(w, w.day_01, 9, people=15)
        marks = marks_of(w)
        today = readiness.today_of(w.day_01)
        own = verdicts.judged_one(make.fresh(w.day_01))
    assert own.question.trip is None
    assert marks[w.day_01.name, today.isoformat(), ""][0] == own.verdict.word == Word.READY
    assert marks[w.day_01.name, trip.last_day.isoformat(), str(trip.pk)][0] == Word.SHORT


def test_a_kit_that_will_not_be_ready_by_the_emails_end_says_what_it_is_now_and_will_be(
    w: World,
) -> None:
    at = week_of(w).horizon
    Lot.objects.filter(pk=w.dressings.pk).update(expiry=at - timedelta(days=1))
    readiness.rewrite([w.day_01.pk])
    text = said(text_of(w))
    assert "Ready (status for " in text
    assert "Do not take: no Wound dressing 10 × 12 (status for " in text


def test_a_low_kit_is_said_to_be_ready_and_on_what_it_is_low_and_is_no_work(w: World) -> None:
    used(w, w.dressing, 1)
    letter = digest_text.letter(week_of(w))
    text = said(text_of(w))
    assert (
        "READY, LOW ON SOME ITEMS - DAY-01 - Ready, low on Wound dressing 10 × 12 (status for"
        in text
    )
    assert "KITS TO OPEN" not in text
    assert "of work" not in letter.subject


def test_a_kit_that_nobody_entered_is_not_set_up_and_alarms_nobody(w: World) -> None:
    kit = make.kit("DAY-09", w.version, w.store, entered=False, responsible=w.instructor)
    trip = reserved(w, kit, 1)
    week = week_of(w)
    letter = digest_text.letter(week)
    text = said(text_of(w))
    assert "NOT SET UP YET - DAY-09: no contents entered yet." in text
    assert "KITS TO OPEN" not in text
    assert "Every kit" not in letter.subject
    assert trip.departs_at < timezone.now() + timedelta(hours=48)
    alarms.going_soon(timezone.now())
    assert not Notice.objects.exists()


def walk_kit(w: World) -> Kit:
    """A kit with a routine line of wipes: one of its three is good until tomorrow only."""
    wipes = make.item("Wipes")
    lines = {"main": [(wipes, 2, 1, Criticality.ROUTINE)]}
    version = make.kit_list("Walk", lines, signed_by=w.adviser)
    kit = make.kit("WALK-01", version, w.store, responsible=w.instructor)
    old = make.some(wipes, w.shelf, 1, "W1", days(1))
    good = make.some(wipes, w.shelf, 2, "W2", days(900))
    there = make.section(kit)
    rows = [sorting.PutIn(old, w.shelf, there, 1), sorting.PutIn(good, w.shelf, there, 2)]
    sorting.restock(act(), kit, extra=rows, as_listed=False, levels=())
    return make.fresh(kit)


def test_a_wipe_out_of_date_is_said_once_to_bin_when_next_opened_and_makes_no_kit_red(
    w: World,
) -> None:
    kit = walk_kit(w)
    with time_machine.travel(timezone.now() + timedelta(days=2)):
        trip = reserved(w, kit, 1)
        text = said(text_of(w))
        letter = digest_text.letter(week_of(w))
        alarms.going_soon(timezone.now())
    assert trip.first_day == days(3)
    assert "TO DISPOSE OF WHEN THE KIT IS NEXT OPENED - WALK-01: 1 × Wipes" in text
    assert text.count("Wipes") == 1
    assert "Every kit for this week’s trips is ready" in letter.subject
    assert not Notice.objects.exists()


def test_a_week_without_trips_does_not_say_that_every_kit_is_ready_for_them(w: World) -> None:
    assert "No kit is reserved for a trip this week" in digest_text.letter(week_of(w)).subject


def test_a_kit_that_came_back_before_its_trip_has_ended_is_judged_for_it_again(w: World) -> None:
    trip = reserved(w, w.day_01, 1)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, trip=trip)
    custody.check_in(act(w.guide), make.fresh(w.day_01))
    text = said(text_of(w))
    assert "Do not take: needs sorting (status for" in text
    assert "Hill day" in text


def test_a_kit_out_with_nobodys_time_is_said_to_be_with_somebody_and_not_late(w: World) -> None:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    Checkout.objects.update(due_at=None)
    used(w, w.shears, 1)
    at = timezone.now() + timedelta(days=3)
    assert "DAY-01: now (Gil has it)" in said(text_of(w))
    assert "NOT BACK" not in said(text_of(w, at))
    overdue.look(at)
    assert not Notice.objects.exists()
    assert not [uid for uid in events(w.instructor) if uid.startswith("due-")]


def out_until(w: World, kit: Kit, due: datetime) -> None:
    """A kit taken for no trip, and its time put off later."""
    soon = timezone.now() + timedelta(minutes=5)
    custody.check_out(act(w.keeper), kit, person=w.guide, trip=None, due_at=soon)
    Checkout.objects.update(due_at=due)


def test_a_kit_that_is_not_back_in_time_for_its_trip_comes_first_however_good_it_is(
    w: World,
) -> None:
    trip = reserved(w, w.day_01, 2)
    out_until(w, w.day_01, trip.departs_at)  # the same day, whatever the hour of the test
    letter = digest_text.letter(week_of(w))
    assert letter.subject.startswith("1 kit not ready for this week’s trips")
    (first,) = letter.first
    assert "DAY-01 for Hill day" in first.text
    assert first.lines[0].startswith("Gil has it, due back ")
    assert "work" not in letter.subject


def test_a_kit_that_comes_back_in_time_keeps_its_trip_from_being_said_to_be_ready(w: World) -> None:
    reserved(w, w.day_01, 3)
    out_until(w, w.day_01, timezone.now() + timedelta(minutes=5))
    letter = digest_text.letter(week_of(w))
    assert letter.subject.startswith("1 kit for this week’s trips is still out")
    assert letter.first == ()
    text = said(text_of(w))
    assert "STILL OUT BUT NEEDED FOR A TRIP - DAY-01 for Hill day, " in text
    assert "Gil has it, due back" in text
    assert "too late to sort" not in text


# ------------------------------------------------------------------- what ends, by the rule of it
def opened(w: World, days_ago: int) -> Lot:
    """A pack of tablets on the shelf, open for so many days of the ninety that it lasts; printed
    on it is a date far off."""
    lot = make.batch(w.tablets, "OPEN", days(700))
    Lot.objects.filter(pk=lot.pk).update(opened_on=days(-days_ago))
    Holding.objects.create(lot=lot, place=w.shelf, units=7)
    return lot


def test_an_opened_pack_past_its_opened_life_comes_off_the_shelves(w: World) -> None:
    opened(w, 91)
    week = week_of(w)
    assert [(held.lot.number, held.day) for held in week.off_shelves] == [("OPEN", days(-1))]
    assert "batch OPEN" in " ".join(entry.text for entry in picking_list.entries(week))


def test_an_opened_pack_that_ends_within_ninety_days_stands_in_the_months_first_email(
    w: World,
) -> None:
    first = (timezone.now().replace(day=1) + timedelta(days=32)).replace(day=1)
    opened(w, 0)
    Lot.objects.filter(number="OPEN").update(opened_on=first.date() - timedelta(days=40))
    with time_machine.travel(first):
        text = said(text_of(w))
    assert "OUT OF DATE WITHIN 60 DAYS - shelf C2 - 7 × Pain tablets, batch OPEN" in text


def events(person: Person) -> dict[Any, Any]:
    found = Calendar.from_ical(calendar.of(Person.objects.get(pk=person.pk)))
    return {str(e["UID"]).partition("@")[0]: e for e in found.walk("VEVENT")}


def test_the_calendar_has_the_last_good_day_of_an_opened_pack(w: World) -> None:
    lot = make.batch(w.tablets, "OPEN", days(700))
    Lot.objects.filter(pk=lot.pk).update(opened_on=days(-40))
    Holding.objects.create(lot=lot, place=make.section(w.day_01, "pouch"), units=2)
    event = events(w.instructor)[f"expiry-{w.day_01.pk}-{lot.pk}"]
    assert event.decoded("DTSTART") == days(50)


def test_an_instrument_that_failed_its_check_is_not_said_to_be_never_checked(w: World) -> None:
    instruments.check(act(w.keeper), w.lots["gauge"], passed=False)
    text = said(text_of(w))
    assert "Pressure gauge G-1, shelf C2: failed its check" in text
    assert "never checked" not in text
