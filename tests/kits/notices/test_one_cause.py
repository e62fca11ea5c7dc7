"""One cause, one notice: a storm is one mail, a night is left in peace, nobody rings themselves."""

import smtplib
from datetime import UTC, datetime, time, timedelta
from email import message_from_bytes
from email.policy import default
from typing import Any, Self

import pytest
import time_machine
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries, Settings

from gearroom.core.models import Person
from kits.models import (
    Checkout,
    Entry,
    EntryKind,
    Kit,
    Notice,
    Recall,
    RecallPlace,
    RecallScope,
    Trip,
)
from kits.rules.ledger.reasons import ReasonCode
from kits.services.custody import custody, use
from kits.services.ledger.book import Book
from kits.services.mail import alarms, notice_log, overdue, sending
from kits.services.notices import writing
from kits.services.recalls import recall_notices, recalls
from kits.services.trips import reservations
from tests.kits import factories
from tests.kits.factories import World, act
from tests.present import present

pytestmark = pytest.mark.django_db


def mails(to: Person | None = None) -> list[tuple[str, str]]:
    """The mails that went out, by Message-ID, each with its subject and its words in a line."""
    rows = Notice.objects.exclude(sent_at=None).exclude(rendered=None)
    rows = rows.filter(person=to) if to else rows
    found = []
    for row in rows.order_by("pk"):
        message = message_from_bytes(bytes(present(row.rendered)), policy=default)
        body = present(message.get_body(["plain"])).get_content()
        found.append((str(message["Subject"]), " ".join(body.split())))
    return found


def report(w: World, kit: Kit | None = None, times: int = 1) -> list[Entry]:
    """Somebody reports something that broke a rule, so many times."""
    made = []
    for _ in range(times):
        with Book(act(w.guide)) as book:
            (kit_,) = book.lock((kit or w.day_01).pk)
            entry = book.post(
                EntryKind.RECALL_ANSWER, kit=kit_, irregular=[ReasonCode.RECORD_SAYS_OTHERWISE]
            )
            writing.notify_keepers(entry, "irregular", kit=kit_)
        made.append(entry)
    return made


def waits_no_longer() -> None:
    Notice.objects.filter(sent_at=None).update(due_at=timezone.now())


# ---------------------------------------------------------------------------------- one mail
def test_thirty_reports_of_a_kit_in_a_minute_are_one_mail_that_says_how_many(w: World) -> None:
    report(w, times=30)

    sending.send_due()

    ((subject, text),) = mails(w.keeper)
    assert "DAY-01" in subject and "30" in subject
    assert "30 times: DAY-01" in text
    assert Notice.objects.filter(sent_at=None).count() == 0
    assert Notice.objects.filter(person=w.keeper).values("message_id").distinct().count() == 1


def test_reports_of_several_kits_in_a_minute_are_one_mail_with_each_of_them(w: World) -> None:
    report(w, times=2)
    report(w, w.day_02)

    sending.send_due()

    ((subject, text),) = mails(w.keeper)
    assert "3" in subject and "DAY-01" in subject and "DAY-02" in subject
    assert "2 times: DAY-01" in text and "DAY-02" in text


def test_what_comes_within_half_an_hour_of_the_same_waits_and_is_then_one_mail(w: World) -> None:
    start = timezone.now()
    report(w)
    sending.send_due()
    report(w, times=4)
    sending.send_due()
    assert len(mails(w.keeper)) == 1
    assert "will wait until" in notice_log.why(present(Notice.objects.filter(sent_at=None).first()))

    with time_machine.travel(start + timedelta(minutes=29), tick=False):
        sending.send_due()
        assert len(mails(w.keeper)) == 1
    with time_machine.travel(start + timedelta(minutes=31), tick=False):
        sending.send_due()

    assert len(mails(w.keeper)) == 2
    assert "4 times: DAY-01" in mails(w.keeper)[1][1]
    assert Notice.objects.filter(sent_at=None).count() == 0


def test_a_storm_over_many_kits_becomes_a_summary_after_three_mails(w: World) -> None:
    for n in range(8):
        report(w, factories.kit(f"MORE-{n}", w.version, w.store))
        sending.send_due()
    assert len(mails(w.keeper)) == 3

    with time_machine.travel(timezone.now() + timedelta(minutes=31), tick=False):
        sending.send_due()

    assert len(mails(w.keeper)) == 4
    assert all(f"MORE-{n}" in mails(w.keeper)[3][1] for n in range(3, 8))


def test_a_rescue_does_not_wait_for_others_of_its_kind(w: World) -> None:
    for n in range(2):
        writing.notify([w.keeper], "emergency", f"x{n}", kit=w.day_01)
        assert sending.send_due() == 1


def test_one_of_many_that_is_undone_before_the_mail_is_taken_stands_in_none(
    w: World, settings: Settings
) -> None:
    first, second = report(w, times=2)
    settings.EMAIL_BACKEND = "tests.kits.notices.test_one_cause.Down"
    sending.send_due()
    writing.withdraw(first)
    writing.withdraw(second)
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"
    waits_no_longer()
    sending.send_due()
    assert mails() == []


def test_when_the_first_of_many_is_undone_the_others_are_told_all_the_same(
    w: World, settings: Settings
) -> None:
    first, _second = report(w, times=2)
    settings.EMAIL_BACKEND = "tests.kits.notices.test_one_cause.Down"
    sending.send_due()
    writing.withdraw(first)
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"
    waits_no_longer()
    sending.send_due()
    assert len(mails(w.keeper)) == 1
    assert "times" not in mails(w.keeper)[0][1]


class Down:
    """A mail server that nobody reaches."""

    def __init__(self, **_: Any) -> None:
        pass

    def __enter__(self) -> Self:
        raise ConnectionRefusedError("nobody there")

    def __exit__(self, *_: Any) -> None:
        pass


def test_an_address_refused_for_good_is_so_for_all_that_went_together(
    w: World, settings: Settings
) -> None:
    report(w, times=3)
    settings.EMAIL_BACKEND = "tests.kits.notices.test_one_cause.Refuses"
    sending.send_due()
    states = {notice_log.state(n) for n in Notice.objects.filter(person=w.keeper, kind="irregular")}
    assert states == {notice_log.State.NOT_SENT}


class Refuses(Down):
    """A mail server that knows nobody."""

    def __enter__(self) -> Self:
        return self

    def send_messages(self, messages: Any) -> None:
        raise smtplib.SMTPRecipientsRefused({messages[0].to[0]: (550, b"no such user")})


# --------------------------------------------------------------------------------------- a recall
@pytest.fixture
def eight(w: World) -> None:
    """DAY-01 and seven more kits hold the batch; Ines answers for them, and Gil has one."""
    Person.objects.filter(pk=w.instructor.pk).update(phone="01632 960101")
    Person.objects.filter(pk=w.guide.pk).update(phone="01632 960111")
    for n in range(7):
        kit = factories.kit(f"MORE-{n}", w.version, w.store, responsible=w.instructor)
        factories.put_in(kit, w.dressings, w.shelf, 1)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)


def recall(w: World) -> Recall:
    return recalls.start(act(w.keeper), item=w.dressing, scope=RecallScope.NUMBER, number="D1")


def test_a_recall_in_eight_kits_is_one_mail_to_each(w: World, eight: None) -> None:
    recall(w)
    sending.send_due()

    assert Notice.objects.filter(kind="recall").count() == 3
    ((_, text),) = mails(w.instructor)
    assert all(name in text for name in ("DAY-01", *(f"MORE-{n}" for n in range(7))))
    ((_, text),) = mails(w.guide)
    assert "DAY-01 certainly contains the batch" in text and "MORE-1" not in text


def test_nobody_is_told_to_ring_themselves(w: World, eight: None) -> None:
    recall(w)
    sending.send_due()

    ((_, text),) = mails(w.instructor)
    assert "DAY-01: call Gil, 01632 960111." in text
    assert "You need to check MORE-0, MORE-1" in text
    assert "960101" not in text
    ((_, text),) = mails(w.guide)
    assert "You need to check DAY-01." in text and "960111" not in text


def test_whoever_reported_is_spoken_to_as_you(w: World) -> None:
    with Book(act(w.keeper)) as book:
        (kit,) = book.lock(w.day_01.pk)
        broken = [ReasonCode.RECORD_SAYS_OTHERWISE]
        entry = book.post(EntryKind.RECALL_ANSWER, kit=kit, irregular=broken)
        missing = {"missing": {"Pain tablets": 2}}
        writing.notify_keepers(entry, "medicine-missing", kit=kit, facts=missing)
    sending.send_due()

    ((_, text),) = mails(w.keeper)
    assert "Count again, then call the last person who had it" in text and "Reported by you" in text
    ((_, text),) = mails(w.instructor)
    assert "Call the person who counted" in text and "Kim, " in text


def test_it_is_asked_again_once_a_day_for_all_kits_that_wait_and_looked_for_in_few_queries(
    w: World, eight: None, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    now = recall(w).entry.recorded_at
    first = RecallPlace.objects.get(place__kit__name="MORE-0")
    recalls.answer(act(w.instructor), first, recalls.Answer.TAKEN_OUT, removed=1)

    recall_notices.ask_again(now + timedelta(days=1))
    again = Notice.objects.filter(kind="recall", facts__again=1)
    assert {n.person for n in again} == {w.guide, w.instructor}
    names = [kit["name"] for kit in again.get(person=w.instructor).facts["kits"]]
    assert names == ["DAY-01", *(f"MORE-{n}" for n in range(1, 7))]
    with django_assert_max_num_queries(5) as asked:
        recall_notices.ask_again(now + timedelta(days=1, minutes=1))
    assert not any("INSERT" in query["sql"] for query in asked.captured_queries)


# --------------------------------------------------------------------------------------- not back
def out_late(w: World, number: int, due: datetime) -> Trip:
    trip = factories.trip("Hill day", w.store, leader=w.guide)
    for n in range(number):
        kit = factories.kit(f"OUT-{n}", w.version, w.store, entered=False)
        custody.check_out(act(w.keeper), kit, person=w.guide, trip=trip)
    Checkout.objects.update(out_at=due - timedelta(hours=9), due_at=due)
    return trip


def test_kits_past_due_of_one_trip_are_one_notice_that_leads_to_where_they_are_put_off(
    w: World,
) -> None:
    now = timezone.now()
    trip = out_late(w, 6, now - timedelta(hours=5))

    overdue.look(now)
    sending.send_due()

    assert Notice.objects.filter(kind="not-back").count() == 2
    for person in (w.guide, w.keeper):
        ((subject, text),) = mails(person)
        assert subject == "Not back: OUT-0, OUT-1, OUT-2 and 3 more"
        assert "OUT-5" in text and f"https://gear.example.org/trips/{trip.pk}/#later" in text
        assert "it does not show whether the group is safe" in text
        assert "set a later return time for all the trip’s kits" in text
    assert "You have OUT-0" in mails(w.guide)[0][1]
    assert "Gil has it" not in mails(w.guide)[0][1]
    assert "Gil has it" in mails(w.keeper)[0][1]


def test_looking_for_what_is_past_due_costs_the_same_however_much_is(
    w: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    now = timezone.now()
    out_late(w, 9, now - timedelta(hours=5))
    overdue.look(now)
    with django_assert_num_queries(2) as asked:
        overdue.look(now + timedelta(minutes=1))
    assert not any("INSERT" in query["sql"] for query in asked.captured_queries)


def test_one_that_comes_late_as_well_is_told_of_alone(w: World) -> None:
    now = timezone.now()
    out_late(w, 2, now - timedelta(hours=5))
    last = Checkout.objects.last()
    Checkout.objects.filter(pk=present(last).pk).update(due_at=now - timedelta(hours=1))
    overdue.look(now)
    overdue.look(now + timedelta(hours=1))

    newest = Notice.objects.filter(person=w.guide, kind="not-back").first()
    assert [kit["kit"] for kit in present(newest).facts["kits"]] == ["OUT-1"]


def test_what_is_back_or_put_off_before_the_night_ends_is_not_told(w: World) -> None:
    now = timezone.now()
    out_late(w, 2, now - timedelta(hours=5))
    overdue.look(now)
    first = Checkout.objects.order_by("pk").first()
    Checkout.objects.filter(pk=present(first).pk).update(due_at=now + timedelta(hours=9))
    sending.send_due()
    ((_, text),) = mails(w.guide)
    assert "OUT-1" in text and "OUT-0" not in text

    overdue.look(now + timedelta(days=1))
    Checkout.objects.update(due_at=now + timedelta(days=9))
    assert sending.send_due() == 0
    assert set(Notice.objects.filter(sent_at=None).values_list("unsent_why", flat=True)) == {
        "passed"
    }


# ----------------------------------------------------------------------------- a trip not covered
def test_a_trip_with_three_kits_that_are_not_ready_is_one_notice_with_each_of_them(
    w: World,
) -> None:
    trip = factories.trip("Hill day", w.store, first=1, last=1, leader=w.guide)
    trip.departs_at = timezone.now() + timedelta(hours=20)
    trip.save()
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.shears, units=1)])
    for kit in (w.day_01, w.day_02, factories.kit("MORE", w.version, w.store)):
        reservations.reserve(act(w.keeper), factories.fresh(kit), trip)

    alarms.going_soon(timezone.now())
    alarms.going_soon(timezone.now())
    sending.send_due()

    ((subject, text),) = mails(w.keeper)
    assert subject == "Hill day: DAY-01, DAY-02, MORE are not ready"
    assert "DAY-01: Shears" in text and "MORE: Wound dressing" in text
    assert text.count("first expiry") <= 3 and f"/trips/{trip.pk}/" in text


# --------------------------------------------------------------------------------------- at night
NIGHT = datetime(2027, 1, 5, 2, tzinfo=UTC)


@pytest.mark.parametrize(
    ("kind", "facts", "sent"),
    [
        ("lost", {}, 0),
        ("irregular", {}, 0),
        ("emergency", {}, 1),
        ("recall", {"thing": "Dressing"}, 1),
        ("must-have-gone", {"trip": "Hill day", "departs_at": "2027-01-06T09:00:00+00:00"}, 1),
        ("not-fit", {"trip": "Hill day", "departs_at": "2027-01-06T09:00:00+00:00"}, 0),
        ("not-fit", {"trip": "Hill day", "departs_at": "2027-01-05T06:00:00+00:00"}, 1),
    ],
)
def test_at_two_in_the_morning_only_what_cannot_wait_is_sent(
    w: World, settings: Settings, kind: str, facts: dict[Any, Any] | dict[str, str], sent: int
) -> None:
    settings.QUIET_HOURS = (time(22), time(7))
    with time_machine.travel(NIGHT, tick=False):
        writing.notify([w.keeper], kind, "x", kit=w.day_01, facts=facts)
        assert sending.send_due() == sent
    with time_machine.travel(NIGHT + timedelta(hours=5), tick=False):
        assert sending.send_due() == 1 - sent


def test_the_night_is_that_of_the_room(w: World, settings: Settings) -> None:
    settings.QUIET_HOURS = (time(22), time(7))
    w.store.time_zone = "Australia/Sydney"  # two in the morning there is one in the afternoon here
    w.store.save()
    with time_machine.travel(NIGHT, tick=False):
        writing.notify([w.keeper], "lost", "x", kit=w.day_01)
        assert sending.send_due() == 1
