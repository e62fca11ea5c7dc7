"""How names fit what is typed: in which order, and how tolerantly."""

import pytest
from hypothesis import given, strategies as st

from kits.rules.lookup.ranking import Fit, Query, one_slip

WORDS = st.text("abcdefghij", min_size=5, max_size=12)


@pytest.mark.parametrize(
    ("typed", "name", "fit"),
    [
        ("day-01", "DAY-01", Fit.SAME),
        ("day", "DAY-01", Fit.BEGINS),
        ("dress", "Wound dressing 10 × 12", Fit.WORD_BEGINS),
        ("ressing", "Wound dressing 10 × 12", Fit.CONTAINS),
        ("dresing", "Wound dressing 10 × 12", Fit.ONE_SLIP),
        ("wuond", "Wound dressing", Fit.ONE_SLIP),
        ("eloise", "Éloïse Berg", Fit.BEGINS),
        ("STRASSE", "Straße", Fit.SAME),
        ("day-02", "DAY-01", None),  # a number that is one off is another thing
        ("ear", "Eye wash", None),
        ("zzzz", "Wound dressing", None),
    ],
)
def test_a_name_fits_as_well_as_its_letters_do(typed: str, name: str, fit: Fit | None) -> None:
    assert Query.of(typed).fit(name) is fit


def test_one_letter_is_too_short() -> None:
    assert Query.of(" a ").too_short
    assert Query.of("").too_short
    assert not Query.of("ab").too_short


@given(WORDS, st.integers(1, 4))
def test_one_wrong_character_behind_the_first_is_forgiven(word: str, place: int) -> None:
    for wrong in (
        word[:place] + "z" + word[place + 1 :],
        word[:place] + word[place + 1 :],
        word[:place] + "z" + word[place:],
    ):
        assert one_slip(word, wrong)
        assert one_slip(wrong, word)
        assert Query.of(wrong).fit(word) is not None


@given(WORDS, WORDS)
def test_a_slip_is_a_slip_both_ways(one: str, other: str) -> None:
    assert one_slip(one, other) == one_slip(other, one)
