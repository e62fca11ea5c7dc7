"""A report counts whatever the clock of the device shows that sends it."""

from datetime import UTC, datetime, timedelta

import pytest

from gearroom.core import clock
from kits.services.kits import holds
from tests.kits import factories


@pytest.mark.django_db
@pytest.mark.parametrize(
    "shows", [datetime(1970, 1, 1, tzinfo=UTC), datetime(2199, 12, 31, tzinfo=UTC)]
)
def test_a_clock_that_was_reset_keeps_no_report_out(shows: datetime) -> None:
    told = factories.act(device_now=shows, claimed_at=shows - timedelta(minutes=5))
    entry = holds.mark_lost(told, factories.world().day_02)
    assert abs(entry.occurred_at - clock.now()) < timedelta(minutes=6)
    assert abs(entry.clock_offset_s) > 50 * 365 * 86400
