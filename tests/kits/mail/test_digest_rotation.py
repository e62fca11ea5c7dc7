"""What the weekly email says of the batches to use first."""

from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from kits.services.kits import holds
from kits.services.mail.digest import digest_rotation
from tests.kits.factories import World, act, days
from tests.kits.mail.weeks import said, text_of, week_of
from tests.kits.rotation.school import school

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(outbox: Any) -> World:
    made = school()
    holds.lay_up(act(made.keeper), made.day_02)
    return made


def test_it_names_the_kit_and_the_swap_and_leads_to_the_page(w: World) -> None:
    text = said(text_of(w))
    assert "USE THESE FIRST" in text
    assert "SPARE, when it is open" in text
    assert "swap 4 × Wound dressing 10 × 12: remove those good until" in text
    assert f"/stock/rotation/?room={w.store.slug}" in text


def test_it_is_short_however_much_there_is_to_do(w: World, monkeypatch: pytest.MonkeyPatch) -> None:
    week = week_of(w)
    (found,) = week.rotations
    assert len(found.work) >= 1
    monkeypatch.setattr(digest_rotation, "MOST_KITS", 0)
    (row,) = digest_rotation.rows(week)
    assert row.text == f"{len(found.work)} more kit{'s' * (len(found.work) > 1)} in Main store"


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "Pacific/Honolulu"])
def test_it_is_worked_out_for_the_rooms_day_when_the_email_is_due(w: World, zone: str) -> None:
    w.store.time_zone = zone
    w.store.save()
    midnight = datetime.combine(days(3), time(), ZoneInfo(zone))
    for instant, day in ((midnight - timedelta(seconds=1), days(2)), (midnight, days(3))):
        (found,) = week_of(w, instant).rotations
        assert found.today == day


def test_where_nothing_is_saved_nothing_is_said(w: World) -> None:
    week = week_of(w)
    week.rotations = []
    assert not list(digest_rotation.rows(week))
    w.store.opening_pays_from = Decimal(100)
    w.store.save()
    for kit in week.own:
        holds.lay_up(act(w.keeper), kit)
    assert not week_of(w).rotations
