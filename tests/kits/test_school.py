"""The school that other tests start from is as its text says."""

import pytest

from kits.services.ledger import audit, verdicts
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


def test_it_starts_with_one_kit_fit_to_go_and_one_empty() -> None:
    w = make.world()
    assert verdicts.verdict(w.day_01, make.today()).fit
    assert not verdicts.verdict(w.day_02, make.today()).may_go


def test_it_has_the_stock_that_it_says() -> None:
    w = make.world()
    on_shelf = {name: make.units(lot, w.shelf) for name, lot in w.lots.items()}
    assert on_shelf == {"d1": 12, "d2": 0, "shears": 5, "tablets": 40, "gauge": 1}
    assert make.units(w.lots["d2"], w.upper) == 10
    assert make.units(w.dressings, make.section(w.day_01)) == 6


def test_its_book_is_in_balance() -> None:
    make.world()
    assert list(audit.findings()) == []
