"""The plain text of letters: wrapped at 78 but for addresses, nothing cut."""

from typing import Any

from hypothesis import given, strategies as st

from kits.rules.mail.plain_text import WIDTH, Letter, LetterRow, Part, as_text, one_line

URL = "https://gear.example.org/kits/" + "A-very-long-name-" * 8

texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=300)


@given(texts, texts, st.lists(texts, max_size=3))
def test_no_line_is_longer_than_78_but_for_an_address(
    head: str, text: str, lines: list[Any]
) -> None:
    letter = Letter(
        "s", first=(LetterRow(text, URL, tuple(lines)),), parts=(Part(head, (LetterRow(text),)),)
    )
    for line in as_text(letter).split("\n"):
        assert len(line) <= WIDTH or "://" in line


@given(st.lists(texts.filter(str.strip), max_size=3))
def test_every_word_of_it_is_there(lines: list[Any]) -> None:
    letter = Letter("s", parts=(Part("to do", (LetterRow("DAY-01", "", tuple(lines)),)),))
    said = "".join(as_text(letter).split())
    for line in lines:
        assert "".join(line.split()) in said


def test_it_goes_from_alarms_to_the_first_line_to_the_parts_to_the_closing() -> None:
    letter = Letter(
        "s",
        alarms=(LetterRow("RECALL"),),
        first=(LetterRow("Friday: DAY-01", URL, ("no dressing",)),),
        parts=(Part("Not back", (LetterRow("DAY-02"),)),),
        closing=("not medical advice",),
    )
    assert as_text(letter) == (
        f"RECALL\n\nFriday: DAY-01\n- no dressing\n{URL}\n\nNOT BACK\n- DAY-02\n\n"
        "-- \nnot medical advice\n"
    )


@given(st.text())
def test_a_header_takes_no_line_breaks(text: str) -> None:
    assert not set(one_line(text)) & set("\r\n\v\f\x00\x1c\x1d\x1e\x85\u2028\u2029")
