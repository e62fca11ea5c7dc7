"""The weekly email, the calendar and alarms speak by the one verdict of every page."""

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone
from icalendar import Calendar
from pytest_django import Settings

from gearroom.core.models import Person
from kits.models import Checkout, Holding, Item, Kit, Lot, Notice, Trip
from kits.rules.ledger.facts import Criticality, Word
from kits.rules.mail.plain_text import as_text
from kits.services.custody import custody, use
from kits.services.kits import holds
from kits.services.ledger import readiness, verdicts
from kits.services.mail import (
    alarms,
    calendar,
    digest_data,
    digest_text,
    digest_week,
    notice_texts,
    overdue,
    picking_list,
    rendering,
)
from kits.services.restocking import sorting
from kits.services.stock import instruments
from kits.services.text import verdict_texts
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import World, act, days
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(settings: Settings) -> World:
    settings.PUBLIC_URL = "https://gear.example.org"
    world = make.world()
    holds.lay_up(act(world.keeper), world.day_02)  # empty, and quiet
    return world


def week_of(w: World, at: datetime | None = None) -> digest_week.Week:
    person = Person.objects.select_related("home_room").get(pk=w.instructor.pk)
    return digest_data.gather([person], at or timezone.now())[person.pk]


def text_of(w: World, at: datetime | None = None) -> str:
    return " ".join(as_text(digest_text.letter(week_of(w, at))).split())


def marks_of(w: World) -> dict[tuple[str, str, str], tuple[str, str]]:
    """What the letter's page says of each kit, day and trip: the mark, and the visible words."""
    page = rendering.html(digest_text.letter(week_of(w)))
    found = re.findall(
        r'<b\s+data-kit="([^"]*)"\s+data-through="([^"]*)"\s+data-trip="([^"]*)"'
        r'\s+data-verdict="([^"]*)">([^<]*)</b>',
        page,
    )
    return {(kit, day, trip): (slug, text.strip()) for kit, day, trip, slug, text in found}


def used(w: World, item: Item, units: int, kit: Kit | None = None) -> None:
    use.log_use(act(w.guide), make.fresh(kit or w.day_01), [use.UseLine(item=item, units=units)])


def reserved(w: World, kit: Kit, ahead: int, **more: int) -> Trip:
    """A kit reserved for a trip of one day, so many days from now."""
    trip = make.trip("Hill day", w.store, last=40, **more)  # its days follow
    at = timezone.now() + timedelta(days=ahead)
    day = at.date()
    trip.departs_at, trip.returns_at = at, at + timedelta(hours=9)
    trip.first_day = trip.last_day = day
    trip.save()
    reservations.reserve(act(w.keeper), kit, trip)
    return trip


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
    text = text_of(w)
    assert "Ask first: no Shears (status for " in text
    assert ", Hill day)" in text
    assert verdict_texts.first_expiry(days(300)) in text
    assert "through" not in text.lower()
    assert "not fit" not in text.lower()


def test_two_kits_that_suit_a_trip_only_together_are_not_said_to_be_short(w: World) -> None:
    trip = reserved(w, w.day_01, 1, people=15)
    assert "Ask first: the trip's kits serve 10 of 15 people" in text_of(w)
    other = make.kit("DAY-03", w.version, w.store)
    sorting.restock(act(), other)
    reservations.reserve(act(w.keeper), other, trip)
    assert "Ask first" not in text_of(w)
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
    text = text_of(w)
    assert "Ready (status for " in text
    assert "Do not take: no Wound dressing 10 × 12 (status for " in text


def test_a_low_kit_is_said_to_be_ready_and_on_what_it_is_low_and_is_no_work(w: World) -> None:
    used(w, w.dressing, 1)
    letter = digest_text.letter(week_of(w))
    text = text_of(w)
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
    text = text_of(w)
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
        text = text_of(w)
        letter = digest_text.letter(week_of(w))
        alarms.going_soon(timezone.now())
    assert trip.first_day == days(3)
    assert "TO DISPOSE OF WHEN THE KIT IS NEXT OPENED - WALK-01: 1 × Wipes" in text
    assert text.count("Wipes") == 1
    assert "Every kit for this week's trips is ready" in letter.subject
    assert not Notice.objects.exists()


def test_a_week_without_trips_does_not_say_that_every_kit_is_ready_for_them(w: World) -> None:
    assert "No kit is reserved for a trip this week" in digest_text.letter(week_of(w)).subject


def test_a_kit_that_came_back_before_its_trip_has_ended_is_judged_for_it_again(w: World) -> None:
    trip = reserved(w, w.day_01, 1)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, trip=trip)
    custody.check_in(act(w.guide), make.fresh(w.day_01))
    text = text_of(w)
    assert "Do not take: needs sorting (status for" in text
    assert "Hill day" in text


def test_a_kit_out_with_nobodys_time_is_said_to_be_with_somebody_and_not_late(w: World) -> None:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    Checkout.objects.update(due_at=None)
    used(w, w.shears, 1)
    at = timezone.now() + timedelta(days=3)
    assert "DAY-01: now (Gil has it)" in text_of(w)
    assert "NOT BACK" not in text_of(w, at)
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
    assert letter.subject.startswith("1 kit not ready for this week's trips")
    (first,) = letter.first
    assert "DAY-01 for Hill day" in first.text
    assert first.lines[0].startswith("Gil has it, due back ")
    assert "work" not in letter.subject


def test_a_kit_that_comes_back_in_time_keeps_its_trip_from_being_said_to_be_ready(w: World) -> None:
    reserved(w, w.day_01, 3)
    out_until(w, w.day_01, timezone.now() + timedelta(minutes=5))
    letter = digest_text.letter(week_of(w))
    assert letter.subject.startswith("1 kit for this week's trips is still out")
    assert letter.first == ()
    text = text_of(w)
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
        text = text_of(w)
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
    text = text_of(w)
    assert "Pressure gauge G-1, shelf C2: failed its check" in text
    assert "never checked" not in text


# ---------------------------------------------------------------------------------------- alarms
def alarmed(kind: str) -> list[str]:
    rows = Notice.objects.filter(kind=kind, person__name="Kim").order_by("pk")
    return [kit["verdict_text"] for row in rows for kit in row.facts["kits"]]


def test_alarms_judge_the_trips_kits_together_and_say_what_they_lack_once(w: World) -> None:
    trip = reserved(w, w.day_01, 1, people=25)
    other = make.kit("DAY-03", w.version, w.store)
    sorting.restock(act(), other)
    reservations.reserve(act(w.keeper), other, trip)
    alarms.going_soon(timezone.now())
    assert alarmed("not-fit") == ["Ask first: the trip's kits serve 20 of 25 people"]
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
