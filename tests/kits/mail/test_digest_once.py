"""The weekly email is written once for a week, whenever and however often it is asked for."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from gearroom.core.models import Person
from kits.models import (
    Kit,
    Notice,
    NotificationPreferences,
)
from kits.services.mail import sending
from kits.services.mail.digest import digest, digest_data
from tests.kits.factories import World, today
from tests.kits.mail.weeks import MONDAY, mails

pytestmark = pytest.mark.django_db


def test_it_is_written_once_for_a_week_however_often_it_is_asked_for(w: World, outbox: Any) -> None:
    assert len(sending.send_weekly(MONDAY)) == 1
    assert sending.send_weekly(MONDAY) == []
    assert sending.send_weekly(MONDAY + timedelta(days=6, hours=23)) == []
    assert len(sending.send_weekly(MONDAY + timedelta(days=7))) == 1
    assert [m["To"].addresses[0].addr_spec for m in mails(outbox)] == ["ines@example.org"] * 2


def test_after_weeks_without_power_there_is_one_email_and_not_three(w: World) -> None:
    digest.write(MONDAY)
    assert Notice.objects.filter(person=w.instructor).count() == 1

    digest.write(MONDAY + timedelta(weeks=3, days=2))

    facts = Notice.objects.filter(person=w.instructor, kind="weekly").values_list("fact", flat=True)
    assert sorted(facts) == ["week:2027-01-04", "week:2027-01-25"]


def test_a_second_before_it_is_due_it_is_still_last_weeks(w: World) -> None:
    digest.write(MONDAY - timedelta(seconds=1))
    digest.write(MONDAY)
    facts = Notice.objects.filter(person=w.instructor, kind="weekly").values_list("fact", flat=True)
    assert sorted(facts) == ["week:2026-12-28", "week:2027-01-04"]


def test_it_comes_when_each_person_wants_it(w: World) -> None:
    NotificationPreferences.objects.create(person=w.instructor, weekly_on=2, weekly_at="18:30")
    digest.write(datetime(2027, 1, 6, 18, 29, tzinfo=UTC))
    digest.write(datetime(2027, 1, 6, 18, 30, tzinfo=UTC))
    facts = Notice.objects.filter(person=w.instructor, kind="weekly").values_list("fact", flat=True)
    assert sorted(facts) == ["week:2026-12-30", "week:2027-01-06"]


def test_a_newcomer_hears_from_the_next_one_on_unless_asked_for(w: World) -> None:
    Person.objects.filter(pk=w.instructor.pk).update(created_at=MONDAY + timedelta(hours=1))
    digest.write(MONDAY + timedelta(days=1))
    assert not Notice.objects.filter(person=w.instructor, kind="weekly").exists()
    assert len(sending.send_weekly(MONDAY + timedelta(days=1))) == 1


def test_the_command_writes_into_the_outbox_and_says_how_many(
    w: World, outbox: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("send_digests", at="2027-01-04T07:00:00+00:00")
    call_command("send_digests", at="2027-01-04T07:00:00+00:00")
    assert capsys.readouterr().out == "1 weekly emails sent.\n0 weekly emails sent.\n"
    with pytest.raises(CommandError, match="offset"):
        call_command("send_digests", at="2027-01-04T07:00:00")


def test_whoever_stands_in_gets_it_too_and_who_has_left_does_not(w: World) -> None:
    Kit.objects.filter(pk=w.day_01.pk).update(deputy=w.keeper)
    assert w.keeper in digest_data.readers()
    Person.objects.filter(pk=w.keeper.pk).update(left_on=today())
    assert w.keeper not in digest_data.readers()
