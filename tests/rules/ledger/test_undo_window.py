"""Whoever did an act may take it back for a day; keepers may always."""

from datetime import UTC, datetime, timedelta

import pytest

from kits.rules.ledger.undo import OWN_WITHIN, may_take_back

WRITTEN = datetime(2026, 5, 31, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("own", "keeper", "after", "may"),
    [
        (True, False, timedelta(0), True),
        (True, False, OWN_WITHIN, True),
        (True, False, OWN_WITHIN + timedelta(microseconds=1), False),
        (False, False, timedelta(0), False),
        (False, True, timedelta(days=300), True),
    ],
)
def test_it_is_ones_own_for_a_day_and_a_keepers_for_ever(
    own: bool, keeper: bool, after: timedelta, may: bool
) -> None:
    assert may_take_back(own=own, keeper=keeper, recorded_at=WRITTEN, now=WRITTEN + after) is may
