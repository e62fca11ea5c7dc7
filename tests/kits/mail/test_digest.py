"""The weekly email of a small school: what it says, once a week, however often it is asked for."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
import time_machine
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from gearroom.core import clock
from gearroom.core.models import Person
from kits.models import (
    Checkout,
    Kit,
    Notice,
    NotificationChoice,
    RecallScope,
)
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Kind
from kits.rules.mail import plain_text
from kits.rules.mail.plain_text import as_text
from kits.services.custody import custody, returns, use
from kits.services.custody.returns import NeedLine
from kits.services.kits import holds
from kits.services.ledger import readiness
from kits.services.mail import alarms, picking_list, sending
from kits.services.mail.digest import digest_text
from kits.services.notices import writing
from kits.services.recalls import recalls
from kits.services.stock import instruments
from kits.services.trips import reservations
from kits.services.weather import moving
from tests.kits import factories
from tests.kits.factories import World, act, days
from tests.kits.mail.weeks import MONDAY, mails, said, text_of, week_of
from tests.kits.weather import cold

pytestmark = pytest.mark.django_db


# --------------------------------------------------------------------------------- what it says
def test_nothing_to_do_is_one_line_that_shows_it_looked(w: World) -> None:
    instruments.check(act(w.keeper), w.lots["gauge"], passed=True)
    text = said(text_of(w))
    assert text.startswith("Nothing to do. 1 kit checked for trips up to Sun")
    assert "next contents check due by" in text
    assert "KITS TO OPEN" not in text


def test_it_starts_with_the_soonest_departure_what_is_wrong_and_what_settles_it(w: World) -> None:
    trip = factories.trip("Hill day", w.store, first=2, last=500, leader=w.guide)
    Person.objects.filter(pk=w.guide.pk).update(phone="01632 960111")
    reservations.reserve(act(w.keeper), w.day_01, trip)

    letter = digest_text.letter(week_of(w))

    first, *_ = letter.first
    assert "DAY-01 for Hill day, Gil 01632 960111, 8 people." in first.text
    assert first.url == "https://gear.example.org/kits/DAY-01/"
    (dressing,) = [line for line in first.lines if line.startswith("Wound dressing")]
    assert "put in 6 from shelf C3, batch D2, good until" in dressing
    assert "1 kit not ready for this week’s trips; 20 min of work; order 1 " in letter.subject


def test_a_kit_stands_once_with_all_that_is_to_be_done_to_it(w: World) -> None:
    line = use.UseLine(item=w.dressing, units=4)
    use.log_use(act(w.guide), w.day_01, [line])
    text = text_of(w)
    assert said(text).count("DAY-01:") == 1
    assert "put in 4 from shelf C2" in said(text)


def test_every_line_leads_to_the_page_that_settles_it(w: World) -> None:
    factories.some(w.dressing, w.shelf, 3, "D9")
    factories.some(w.dressing, w.shelf, 3, "D50", MONDAY.date() + timedelta(days=50))
    w.tablets.order_down_to = 50
    w.tablets.save()
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    Checkout.objects.update(
        out_at=timezone.now() - timedelta(days=2), due_at=timezone.now() - timedelta(days=1)
    )
    recall = recalls.start(act(w.keeper), item=w.dressing, scope=RecallScope.NUMBER, number="D1")

    letter = digest_text.letter(week_of(w))

    address = "https://gear.example.org/"
    pages = {
        part.heading: [row.url.removeprefix(address) for row in part.rows] for part in letter.parts
    }
    assert [row.url for row in letter.alarms] == [f"{address}stock/recalls/{recall.pk}/"]
    assert pages["Order by"] == ["stock/order/?weeks=26&room=main-store"]
    assert pages["Not back"] == ["kits/DAY-01/"]
    assert all(pages.values())
    assert all("" not in lines for lines in pages.values())


def test_a_recall_stands_above_everything_with_who_to_ring(w: World) -> None:
    Person.objects.filter(pk=w.guide.pk).update(phone="01632 960111")
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    recalls.start(act(w.keeper), item=w.dressing, scope=RecallScope.NUMBER, number="D1")

    letter = digest_text.letter(week_of(w))

    assert letter.subject.startswith("RECALL")
    assert letter.alarms[0].text.startswith("RECALL: Wound dressing 10 × 12, batch D1. DAY-01")
    assert letter.alarms[0].lines == ("DAY-01: call Gil, 01632 960111.",)


def test_nobody_is_to_ring_themselves(w: World) -> None:
    Person.objects.filter(pk=w.instructor.pk).update(phone="01632 960101")
    recalls.start(act(w.keeper), item=w.dressing, scope=RecallScope.NUMBER, number="D1")

    letter = digest_text.letter(week_of(w))

    assert letter.alarms[0].lines == ("You need to check DAY-01.",)
    assert "960101" not in as_text(letter)


def test_a_full_week_begins_with_what_is_read_in_a_minute(w: World) -> None:
    recalls.start(act(w.keeper), item=w.tablets, scope=RecallScope.NUMBER, number="T1")
    for n in range(12):
        kit = factories.kit(f"EMPTY-{n}", w.version, w.store, responsible=w.instructor)
        trip = factories.trip("Hill day", w.store, first=n + 1, last=n + 1, leader=w.guide)
        if n < 4:
            reservations.reserve(act(w.keeper), kit, trip)

    letter = digest_text.letter(week_of(w))

    above = plain_text.words(replace(letter, parts=(), closing=()))
    assert above <= plain_text.SHORT_WORDS < plain_text.words(letter)
    short = letter.first[-1].lines
    assert short[0].startswith("Kits to open: DAY-01 now") and short[0].endswith("and 9 more")
    assert any(line.startswith("Order by: ") for line in short)


def test_a_recall_in_eight_kits_and_a_departure_are_read_in_a_minute_too(w: World) -> None:
    for n in range(7):
        kit = factories.kit(f"MORE-{n}", w.version, w.store, responsible=w.instructor)
        factories.put_in(kit, w.dressings, w.shelf, 1)
        trip = factories.trip(
            "A long day on the high moor", w.store, first=2, last=2, leader=w.guide
        )
        reservations.reserve(act(w.keeper), factories.fresh(kit), trip)
    recalls.start(
        act(w.keeper), item=w.dressing, scope=RecallScope.NUMBER, number="D1",
        advice="Do not use; the maker found packs that were not sealed. Send them all back.",
    )  # fmt: skip

    letter = digest_text.letter(week_of(w))

    assert plain_text.words(replace(letter, parts=(), closing=())) <= plain_text.SHORT_WORDS
    assert "put in" not in as_text(replace(letter, parts=(), closing=()))
    opened = next(part for part in letter.parts if part.heading == "Kits to open")
    assert any(row.text.startswith("MORE-0") and row.lines for row in opened.rows)


def test_the_weekly_email_speaks_to_its_reader_as_you(w: World) -> None:
    Person.objects.filter(pk=w.instructor.pk).update(phone="01632 960101")
    reader = Person.objects.get(pk=w.instructor.pk)
    trip = factories.trip("Hill day", w.store, first=2, last=500, leader=reader)
    custody.check_out(act(w.keeper), w.day_01, person=reader)
    reservations.reserve(act(w.keeper), factories.fresh(w.day_01), trip)
    late = timezone.now() - timedelta(days=1)
    Checkout.objects.update(out_at=late - timedelta(days=1), due_at=late)

    text = said(text_of(w))

    assert "DAY-01 for Hill day, led by you, 8 people." in text
    assert "NOT BACK - DAY-01: you have it, due" in text
    assert "You have it, due back" in text
    assert "960101" not in text


def test_a_recall_in_eight_kits_is_one_row(w: World) -> None:
    for n in range(7):
        kit = factories.kit(f"MORE-{n}", w.version, w.store, responsible=w.instructor)
        factories.put_in(kit, w.dressings, w.shelf, 1)
    recalls.start(act(w.keeper), item=w.dressing, scope=RecallScope.NUMBER, number="D1")

    (alarm,) = digest_text.letter(week_of(w)).alarms

    assert all(name in alarm.text for name in ("DAY-01", *(f"MORE-{n}" for n in range(7))))


def test_who_has_a_kit_past_due_stands_there_with_a_phone(w: World) -> None:
    Person.objects.filter(pk=w.guide.pk).update(phone="01632 960111")
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    Checkout.objects.update(
        out_at=timezone.now() - timedelta(days=2), due_at=timezone.now() - timedelta(days=1)
    )
    text = said(text_of(w))
    assert "NOT BACK - DAY-01: Gil (01632 960111), due" in text


def test_a_kit_that_nobody_looked_into_for_a_year_is_named(w: World) -> None:
    Kit.objects.filter(pk=w.day_01.pk).update(looked_inside_on=days(-360))
    readiness.rewrite([w.day_01.pk])
    text = said(text_of(w))
    assert "CONTENTS NOT CHECKED FOR A YEAR - DAY-01: check contents by" in text


def test_an_instrument_that_was_never_checked_and_a_batch_without_date_are_named(w: World) -> None:
    factories.some(w.dressing, w.shelf, 3, "D9")
    text = said(text_of(w))
    assert "CHECKS DUE - Pressure gauge G-1, shelf C2: never checked" in text
    assert "DATE NOT KNOWN - shelf C2 - 3 × Wound dressing 10 × 12, batch D9" in text


def test_the_next_sixty_and_ninety_days_stand_in_the_months_first_email_only(w: World) -> None:
    soon = MONDAY.date() + timedelta(days=50)
    later = MONDAY.date() + timedelta(days=80)
    factories.some(w.dressing, w.shelf, 3, "D50", soon)
    factories.some(w.dressing, w.shelf, 3, "D80", later)
    first, second = said(text_of(w, MONDAY)), said(text_of(w, MONDAY + timedelta(days=7)))
    assert "OUT OF DATE WITHIN 60 DAYS - shelf C2 - 3 × Wound dressing 10 × 12, batch D50" in first
    assert "OUT OF DATE WITHIN 90 DAYS - shelf C2 - 3 × Wound dressing 10 × 12, batch D80" in first
    assert "OUT OF DATE WITHIN" not in second


def test_stock_at_its_level_is_to_be_ordered(w: World) -> None:
    w.tablets.order_down_to = 50
    w.tablets.save()
    text = said(text_of(w))
    assert "for Main store - 60 × Pain tablets (40 left; order level 50)" in text


def test_of_what_nobody_counts_it_never_says_how_much_is_left(w: World) -> None:
    factories.some(w.plasters, w.shelf, 10)
    w.plasters.order_down_to = 10
    w.plasters.save()
    alarms.look_at_stock(timezone.now())
    assert "Plasters" not in text_of(w)
    assert not Notice.objects.filter(kind="low-stock").exists()

    factories.Holding.objects.filter(lot__item=w.plasters).update(units=0)  # somebody saw none
    alarms.look_at_stock(timezone.now())
    assert "for Main store - 20 × Plasters (0 left; order level 10)" in said(text_of(w))
    assert Notice.objects.filter(kind="low-stock").exists()


def test_the_attached_list_goes_shelf_by_shelf(w: World) -> None:
    trip = factories.trip("Hill day", w.store, first=2, last=500, leader=w.guide)
    reservations.reserve(act(w.keeper), w.day_01, trip)
    factories.some(w.shears, w.shelf, 1)
    old = factories.batch(w.tablets, "T0", days(-1))
    factories.Holding.objects.create(lot=old, place=w.shelf, units=7)
    document = pypdfium2.PdfDocument(picking_list.draw(week_of(w)))
    text = "".join(page.get_textpage().get_text_range() for page in document)
    assert text.index("Shelf C3, Main store") < text.index("6 × Wound dressing 10 × 12, batch D2")
    assert "Out of date on the shelves: remove" in text
    assert "C2: 7 × Pain tablets, batch T0" in text


def test_what_they_chose_to_hear_weekly_stands_in_it_and_is_then_told(
    w: World, outbox: Any
) -> None:
    NotificationChoice.objects.create(person=w.instructor, kind="lost", when="weekly")
    writing.notify([w.instructor], "lost", "x", kit=w.day_01)
    sending.send_due()
    assert Notice.objects.get(kind="lost").unsent_why == "weekly"

    sending.send_weekly(timezone.now())

    (mail,) = mails(outbox)
    assert "DAY-01 cannot be found" in mail.get_body(["plain"]).get_content()
    lost = Notice.objects.get(kind="lost")
    week = Notice.objects.get(kind="weekly", person=w.instructor)
    assert lost.message_id == week.message_id and lost.sent_at == week.sent_at


def test_the_weather_asks_for_what_it_harms_and_later_says_that_it_may_be_back() -> None:
    w = cold.school()
    factories.some(w.tablets, w.upper, 20, "T2", days(400))
    text = said(text_of(w))
    assert "BECAUSE OF THE WEATHER" in text
    assert "DAY-01, Van 2: move out" in text
    assert "8 × Pain tablets: frost since" in text
    assert "No record can show whether" in text
    assert "C3, Van 2: move out" in text
    moving.out_of_kit(act(w.keeper), w.day_01, w.shelf)
    moving.out_of_shelf(act(w.keeper), w.upper, w.shelf)
    assert "WEATHER" not in said(text_of(w))
    with cold.in_days(100):
        week = week_of(w, clock.now())
    assert [(job.name, len(job.back)) for job in week.weather] == [("C3", 1), ("DAY-01", 1)]


def test_its_queries_do_not_grow_with_kits(
    w: World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    def more(number: int) -> None:
        for n in range(number):
            name = f"MORE-{Kit.objects.count()}-{n}"
            factories.kit(name, w.version, w.store, responsible=w.instructor)

    more(6)  # more than the shelves can fill
    with django_assert_max_num_queries(91) as few:
        week_of(w)
    more(12)
    with django_assert_max_num_queries(len(few.captured_queries)):
        found = week_of(w)
    assert len(found.kits) == 19


@pytest.mark.parametrize("zone", ["Europe/London", "America/Chicago", "Australia/Lord_Howe"])
def test_its_today_is_the_home_rooms_on_either_side_of_midnight(w: World, zone: str) -> None:
    w.store.time_zone = zone
    w.store.save()
    midnight = datetime(2027, 3, 1, tzinfo=ZoneInfo(zone))
    for instant, day in ((midnight - timedelta(seconds=1), 28), (midnight, 1)):
        with time_machine.travel(instant, tick=False):
            assert week_of(w).today.day == day


def test_the_evenings_stand_in_it_each_thing_once(w: World) -> None:
    splint = factories.item("Splint", Kind.TOOL, needs_date=False)
    splints = factories.some(splint, w.shelf, 2, "S1")
    factories.put_in(w.day_01, splints, w.shelf, 1)
    other = factories.kit("DAY-03", w.version, w.store, responsible=w.instructor)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    custody.check_in(
        act(w.keeper), w.day_01, used=[use.UseLine(splint, 1, went=Went.MAY_COME_BACK)]
    )
    holds.report_mixed(act(w.guide), w.day_01, [other])
    returns.report_needs(act(w.guide), w.day_01, [NeedLine(words="tick remover")])

    text = text_of(w)

    assert text.count("DAY-01, DAY-03: contents mixed") == 1
    assert text.count("1 × Splint (DAY-01)") == 1
    assert text.count("DAY-01: tick remover") == 1
    assert "Kits to open" not in text  # counting both is what there is to do
