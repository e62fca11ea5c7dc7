"""A computer that was off says so once it is on again, and what it caught up on."""

from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest
import time_machine
from pytest_django import Settings

from gearroom.celery import look_at_once, scheduler
from gearroom.core.models import Person
from kits.models import Episode, ServiceRun
from kits.services.custody import custody
from kits.services.mail import alarms
from kits.services.overview import downtime
from kits.tasks import notices as sweeps
from tests.kits import factories as make
from tests.site.browsing import browser, text_of

pytestmark = pytest.mark.django_db
EVENING = datetime.combine(make.days(1), time(18), UTC)


@pytest.fixture
def w(tmp_path: Path, settings: Settings) -> make.World:
    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"
    with time_machine.travel(EVENING - timedelta(hours=8), tick=True):
        world = make.make_world()
        custody.check_out(
            make.act(world.keeper),
            world.day_01,
            person=world.guide,
            due_at=EVENING + timedelta(hours=1),
        )
    Person.objects.filter(pk=world.keeper.pk).update(email="kim@example.org")
    Person.objects.filter(pk=world.instructor.pk).update(email="ines@example.org")
    return world


def sweep(at: datetime) -> None:
    """What the scheduler has done every minute."""
    with time_machine.travel(at, tick=False):
        sweeps.look()
        sweeps.send()


def asleep(until: datetime) -> None:
    """A laptop that is closed at six in the evening."""
    sweep(EVENING - timedelta(minutes=1))
    sweep(EVENING)
    sweep(until)


def test_a_laptop_that_slept_catches_up_and_says_so(w: make.World) -> None:
    asleep(EVENING + timedelta(hours=14))
    with time_machine.travel(EVENING + timedelta(hours=14, minutes=20), tick=False):
        off = downtime.last(datetime.now(UTC))
        assert off is not None
        assert (off.began, off.ended) == (EVENING, EVENING + timedelta(hours=14))
        assert off.sent > 0
        words = text_of(browser(w.keeper).get("/"))
        assert "This computer was off: from yesterday at 18:00 to today at 08:00." in words
        assert f"It has caught up: {off.sent} notification" in words
        assert "This computer was off" not in text_of(browser(w.guide).get("/"))


def test_stock_is_looked_at_at_once_after_a_pause(
    w: make.World, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks: list[datetime] = []
    monkeypatch.setattr(alarms, "look_at_stock", looks.append)
    sweep(EVENING)
    sweep(EVENING + timedelta(minutes=1))
    assert looks == []
    sweep(EVENING + timedelta(hours=2))
    sweep(EVENING + timedelta(hours=2, minutes=1))
    assert looks == [EVENING + timedelta(hours=2)]


def test_where_nothing_was_due_it_says_so(w: make.World) -> None:
    Person.objects.update(email="")
    custody.check_in(make.act(w.keeper), w.day_01)
    asleep(EVENING + timedelta(hours=2))
    with time_machine.travel(EVENING + timedelta(hours=3), tick=False):
        words = text_of(browser(w.keeper).get("/"))
        assert "It has caught up: there was nothing to send." in words


def test_a_restart_is_no_pause_and_a_first_start_none(w: make.World) -> None:
    sweep(EVENING)
    assert downtime.last(EVENING) is None
    sweep(EVENING + timedelta(minutes=10))
    assert downtime.last(EVENING + timedelta(minutes=10)) is None
    assert ServiceRun.objects.count() == 1


def test_it_is_said_for_a_day(w: make.World) -> None:
    woke = EVENING + timedelta(hours=14)
    asleep(woke)
    assert downtime.last(woke + timedelta(hours=23)) is not None
    assert downtime.last(woke + timedelta(hours=25)) is None


def test_a_clock_that_was_put_back_is_no_pause(w: make.World) -> None:
    sweep(EVENING)
    sweep(EVENING - timedelta(hours=3))
    sweep(EVENING + timedelta(minutes=1))
    assert ServiceRun.objects.count() == 1
    assert downtime.last(EVENING) is None


def test_the_sweeps_come_at_once_when_the_scheduler_starts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sent: list[str] = []
    monkeypatch.setattr(scheduler, "send_task", lambda name, **_options: sent.append(name))
    look_at_once()
    assert {"kits.tasks.notices.look", "kits.tasks.notices.send"} <= set(sent)
    assert not Episode.objects.exists()
