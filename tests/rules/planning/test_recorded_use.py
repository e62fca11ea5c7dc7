"""What recorded uses alone can bear, and the seasons that they are told by."""

from datetime import date, timedelta

import pytest
from hypothesis import given, strategies as st

from kits.rules.planning.records.rates import Bounded, Cell
from kits.rules.planning.records.recorded_use import SHOWN_FROM, Bears, recorded_use
from kits.rules.planning.seasons import Season, season_of, seasons


@pytest.mark.parametrize(
    ("cell", "bears"),
    [
        (Cell(), Bears.NOTHING),
        (Cell(0, 8), Bears.NOTHING),
        (Cell(0, 693), Bears.NONE_USED),
        (Cell(0, 4000), Bears.RARE),
        (Cell(1, 8), Bears.TOO_FEW),
        (Cell(19, 693), Bears.TOO_FEW),
        (Cell(20, 693), Bears.RATE),
        (Cell(0, 100, [Bounded(5, 0, 2)]), Bears.TOO_FEW),
        (Cell(0, 100, [Bounded(5, 20)]), Bears.RATE),
    ],
)
def test_what_can_be_said_grows_with_what_is_known(cell: Cell, bears: Bears) -> None:
    assert recorded_use(cell, 1.0).bears is bears


def test_an_interval_holds_what_was_seen_and_is_wider_where_uses_come_together() -> None:
    alone, together = (recorded_use(Cell(SHOWN_FROM, 1000), each) for each in (1.0, 3.0))
    for found in (alone, together):
        assert found.low is not None
        assert found.high is not None
        assert found.low < SHOWN_FROM / 1000 < found.high
    assert (together.high or 0) - (together.low or 0) > (alone.high or 0) - (alone.low or 0)


def test_none_in_693_days_is_below_a_bound() -> None:
    found = recorded_use(Cell(0, 693), 1.0)
    assert (found.low, round(1000 * (found.high or 0), 1)) == (None, 4.3)


def test_at_least_says_so() -> None:
    found = recorded_use(Cell(3, 50, [Bounded(5, 2)]), 1.0)
    assert (found.uses, found.days, found.at_least) == (5, 55, True)


@given(st.dates(date(1990, 1, 1), date(2200, 1, 1)))
def test_a_day_is_in_its_season(day: date) -> None:
    season = season_of(day)
    assert season.first <= day <= season.last
    assert season.next().first == season.last + timedelta(days=1)


def test_seasons_follow_each_other() -> None:
    found = seasons(date(2025, 12, 31), date(2026, 4, 1))
    assert found == [Season(2025, 4), Season(2026, 1), Season(2026, 2)]
    assert seasons(date(2026, 4, 1), date(2026, 1, 1)) == []
