"""What can be worked out of how many are enough."""

import pytest

from kits.rules.planning.quantities import Basis, basis


@pytest.mark.parametrize(
    ("loose", "used_up", "needs", "with_rate", "says"),
    [
        (True, True, 1, 1, Basis.LOOSE),
        (False, False, 1, 1, Basis.COMES_BACK),
        (False, False, 0, 0, Basis.COMES_BACK),
        (False, True, 0, 0, Basis.NO_PURPOSE),
        (False, True, 2, 0, Basis.NO_RATE),
        (False, True, 2, 1, Basis.DEMAND),
    ],
)
def test_what_is_worked_out_of_an_item(
    loose: bool, used_up: bool, needs: int, with_rate: int, says: Basis
) -> None:
    assert basis(loose=loose, used_up=used_up, needs=needs, with_rate=with_rate) is says
