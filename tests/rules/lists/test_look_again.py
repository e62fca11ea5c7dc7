"""Something left out is due for another look from its day on, until somebody looks."""

from datetime import date, timedelta

import pytest

from kits.rules.lists.look_again import is_due

DAY = date(2027, 5, 3)


@pytest.mark.parametrize(("after", "due"), [(-1, False), (0, True), (1, True), (400, True)])
def test_it_is_due_from_its_day_on(after: int, due: bool) -> None:
    assert is_due(DAY, DAY + timedelta(days=after), ()) is due


@pytest.mark.parametrize(("looked", "due"), [(-1, True), (0, False), (3, False)])
def test_whoever_looked_on_that_day_or_later_has_looked(looked: int, due: bool) -> None:
    today = DAY + timedelta(days=3)
    assert is_due(DAY, today, (None, DAY + timedelta(days=looked))) is due


def test_a_day_that_is_still_to_come_is_no_look() -> None:
    assert is_due(DAY, DAY + timedelta(days=3), [DAY + timedelta(days=4)])


def test_without_a_day_nothing_is_due() -> None:
    assert not is_due(None, DAY, ())
