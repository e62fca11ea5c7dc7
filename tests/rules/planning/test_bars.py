"""Bars of demand, and several needs of one item as one."""

import numpy as np
import pytest

from kits.rules.planning.demand import Rate, combined, demand, units_of_use
from kits.rules.planning.quantities import MOST_BARS, bars


@pytest.mark.parametrize("carried", [0, 1, 4, 30])
@pytest.mark.parametrize("mean", [0.001, 0.5, 6.0, 80.0])
def test_bars_add_up_to_all_chances_and_end_with_more_than_is_carried(
    carried: int, mean: float
) -> None:
    wants = demand(Rate(2.0, 2.0 / mean), 1.0, units_of_use([1.0]))
    found = bars(wants, carried)
    assert sum(bar.chance for bar in found) == pytest.approx(1, abs=1e-8)
    assert len(found) <= MOST_BARS
    assert [bar.over for bar in found] == [bar.units > carried for bar in found]
    assert found[-1].or_more
    assert found[-1].over
    assert not found[0].over
    assert found[0].or_fewer == (found[0].units > 0)


def test_nothing_wanted_is_one_bar_of_certainty() -> None:
    found = bars(np.ones(1), 2)
    assert [bar.chance for bar in found] == [1, 0, 0, 0]


def test_one_need_stays_as_it_is() -> None:
    ask = (Rate(2.0, 100.0, 1.5), units_of_use([0.5, 0.5]))
    assert combined([ask]) == ask


def test_several_needs_have_the_mean_and_variance_of_their_sum() -> None:
    rate, units = combined(
        [(Rate(2.0, 100.0), units_of_use([1.0])), (Rate(3.0, 50.0, 2.0), units_of_use([0.0, 1.0]))]
    )
    assert rate.mean == pytest.approx(0.02 + 0.06)
    assert rate.shape / rate.per_days**2 == pytest.approx(2 / 100**2 + 3 / 50**2)
    assert rate.dispersion == pytest.approx(0.25 * 1 + 0.75 * 2)
    assert list(units) == pytest.approx([0, 0.25, 0.75])
