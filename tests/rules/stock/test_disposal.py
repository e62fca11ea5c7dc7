"""Where things may be thrown out."""

import pytest

from kits.rules.ledger.facts import Kind
from kits.rules.stock.disposal import DISPOSALS, allowed


@pytest.mark.parametrize("own", DISPOSALS)
@pytest.mark.parametrize("kind", list(Kind))
def test_a_things_own_way_comes_first_and_a_medicine_never_goes_into_a_bin(
    kind: Kind, own: str
) -> None:
    ways = allowed(kind, own)
    assert "returned" in ways
    if kind is Kind.MEDICINE:
        assert "bin" not in ways
        assert "pharmacy" in ways
    else:
        assert ways[0] == own or (own == "bin" and ways == DISPOSALS)
