"""Whoever reads an irregular entry reads a sentence, never a code."""

from __future__ import annotations

import pytest

from kits.rules.ledger.expiry import Fault
from kits.rules.ledger.irregular import Broken
from kits.rules.ledger.readiness import Why
from kits.rules.ledger.suits import Mismatch
from kits.services.ledger import admission
from kits.services.text import wording


def test_every_rule_that_a_report_may_break_has_a_sentence_of_its_own():
    assert set(wording.IRREGULAR) == set(Broken)
    said = [wording.irregular(code) for code in Broken]
    assert len(set(said)) == len(said)
    assert all(" " in each and each.endswith(".") for each in said)


@pytest.mark.parametrize(
    "codes",
    [
        list(Why),
        list(Mismatch),
        list(admission.CODES.values()),
        [f"found-{each}" for each in Fault],
    ],
    ids=["went unfit", "for a trip", "put in", "found"],
)
def test_what_a_verdict_a_guard_or_a_count_finds_can_be_written_as_a_broken_rule(codes):
    for code in codes:
        assert wording.irregular(Broken(code)) in map(str, wording.IRREGULAR.values())


def test_a_code_that_is_no_longer_written_is_still_named():
    assert wording.irregular("left-in-the-rain") == "Left in the rain."
