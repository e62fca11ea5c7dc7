"""Whoever reads an irregular entry reads a sentence, never a code."""

import pytest

from kits.rules.ledger.reasons import UNSUITABLE, ReasonCode
from kits.services.ledger import admission
from kits.services.text import irregular_texts, reason_texts


def test_every_rule_that_a_report_may_break_has_a_sentence_of_its_own() -> None:
    without = set(ReasonCode) - set(irregular_texts.IRREGULAR)
    assert without == {
        code for code in reason_texts.CAUSES if code not in irregular_texts.IRREGULAR
    }
    assert {f"found-{code}" for code in without} <= set(irregular_texts.IRREGULAR)
    said = [irregular_texts.irregular(code) for code in irregular_texts.IRREGULAR]
    assert len(set(said)) == len(said)
    assert all(" " in each and each.endswith(".") for each in said)


@pytest.mark.parametrize(
    "codes",
    [
        list(reason_texts.VERDICTS),
        list(UNSUITABLE),
        list(admission.CODES.values()),
        [f"found-{each}" for each in reason_texts.CAUSES],
    ],
    ids=["went unfit", "for a trip", "put in", "found"],
)
def test_what_a_verdict_a_guard_or_a_count_finds_can_be_written_as_a_broken_rule(
    codes: list[str] | list[ReasonCode],
) -> None:
    for code in codes:
        assert irregular_texts.irregular(ReasonCode(code)) in map(
            str, irregular_texts.IRREGULAR.values()
        )


def test_a_code_that_is_no_longer_written_is_still_named() -> None:
    assert irregular_texts.irregular("left-in-the-rain") == "Left in the rain."
