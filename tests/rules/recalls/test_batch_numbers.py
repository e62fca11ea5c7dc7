"""Of what a batch number is asked."""

import pytest

from kits.rules.ledger.facts import Criticality, Kind
from kits.rules.recalls.batch_numbers import is_asked


@pytest.mark.parametrize(
    ("kind", "sterile", "criticality", "asked"),
    [
        (Kind.MEDICINE, False, Criticality.ROUTINE, True),
        (Kind.CONSUMABLE, True, Criticality.ROUTINE, True),
        (Kind.CONSUMABLE, False, Criticality.MUST_HAVE, True),
        (Kind.CONSUMABLE, False, Criticality.IMPORTANT, False),
        (Kind.TOOL, False, Criticality.MUST_HAVE, False),
        (Kind.INSTRUMENT, True, Criticality.MUST_HAVE, False),
    ],
)
def test_it_is_asked_where_a_recall_has_to_find_the_very_packs(
    kind: Kind, sterile: bool, criticality: Criticality, asked: bool
) -> None:
    assert is_asked(kind, sterile=sterile, criticality=criticality) is asked
