"""What is announced follows what is so, and nothing is announced that is so already."""

from dataclasses import dataclass

from hypothesis import given, strategies as st

from kits.rules.events.changes import changed

words = st.dictionaries(st.sampled_from("abc"), st.sampled_from(["covered", "uncovered"]))


@dataclass(frozen=True)
class Row:
    subject: str
    word: str
    unless: str | None


@given(st.lists(words), st.sampled_from(["uncovered", None]))
def test_a_reader_of_the_announcements_has_the_last_word_on_each(
    looks: list[dict[str, str]], unless: str | None
) -> None:
    announced: dict[str, str] = {}
    known: dict[str, str | None] = {}
    for now in looks:
        for row, before in changed(
            [Row(subject, word, unless) for subject, word in now.items()], announced
        ):
            assert known.get(row.subject, unless) == before != row.word
            known[row.subject] = announced[row.subject] = row.word
        assert {subject: known.get(subject, unless) for subject in now} == now
