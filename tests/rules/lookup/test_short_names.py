"""Names of kits as people type them."""

import pytest
from hypothesis import given, strategies as st

from kits.rules.lookup.short_names import fitting

NAMES = ("DAY-01", "DAY-03", "DAY-13", "EXPED-01", "GROUP-03", "Höhle 4", "RED BOX", "WORK-3B")


@pytest.mark.parametrize(
    ("typed", "fit"),
    [
        ("d3", ["DAY-03"]),
        ("D3", ["DAY-03"]),
        ("day 3", ["DAY-03"]),
        ("day3", ["DAY-03"]),
        ("da-003", ["DAY-03"]),
        (" Day_03 ", ["DAY-03"]),
        ("3", ["DAY-03", "GROUP-03"]),
        ("03", ["DAY-03", "GROUP-03"]),
        ("13", ["DAY-13"]),
        ("1", ["DAY-01", "EXPED-01"]),
        ("hö4", ["Höhle 4"]),
        ("y3", []),
        ("day", []),
        ("red", []),
        ("4 4", []),
        ("33", []),
        ("", []),
        ("-", []),
    ],
)
def test_a_short_name_finds_the_kits_it_may_mean(typed: str, fit: list[str]) -> None:
    assert fitting(typed, NAMES) == fit


@given(st.sampled_from(["DAY", "GROUP", "EXPED"]), st.integers(1, 99), st.data())
def test_every_beginning_of_its_letters_with_its_number_finds_a_kit(
    word: str, number: int, data: st.DataObject
) -> None:
    beginning = word[: data.draw(st.integers(0, len(word)))].lower()
    between = data.draw(st.sampled_from(["", " ", "-", "."]))
    assert fitting(f"{beginning}{between}{number}", [f"{word}-{number:02}"])


@given(st.text(max_size=12))
def test_no_text_is_too_odd_for_it(typed: str) -> None:
    assert set(fitting(typed, NAMES)) <= set(NAMES)
