"""Names in texts that are kept for ever: references in, the same text out."""

from typing import Any

from hypothesis import given, strategies as st

from gearroom.core.rules.names import (
    CLOSE,
    NOBODY,
    OPEN,
    Known,
    Names,
    Roll,
    distinctive,
    may_name,
    readable,
    reference,
    references,
    replaced,
)

JO = list(distinctive(17, "Jo Brown", "01632 960 017", "jo.brown@example.org"))


class Rows:
    """The words that references lead to, by row."""

    def __init__(self) -> None:
        self.words: dict[int, str] = {}

    def refer(self, known: Known) -> str:
        row = len(self.words) + 1
        self.words[row] = known.text
        return reference(known.person, row)

    def read(self, person: int, row: int) -> str:
        return self.words.get(row) or f"Person {person}"


def kept(value: Any, *known: Known) -> tuple[Any, Rows]:
    rows = Rows()
    return replaced(value, Names(known or JO), rows.refer), rows


values = st.recursive(
    st.none()
    | st.integers()
    | st.text()
    | st.lists(
        st.sampled_from(
            ["Jo Brown", " ", "jo  BROWN", "01632-960017", OPEN, CLOSE, f"{OPEN}17.1{CLOSE}", "x"]
        )
    ).map("".join),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@given(values)
def test_what_was_kept_reads_as_it_was_written(value: Any) -> None:
    hidden, rows = kept(value)
    assert readable(hidden, rows.read) == value


@given(values)
def test_those_who_occur_are_enough_to_look_for(value: Any) -> None:
    known = [*JO, *distinctive(18, "Ann Other", "0700 900 123", ""), Known(19, "May")]
    assert kept(value, *known)[0] == kept(value, *Roll(known).occurring(value))[0]


def test_of_many_people_those_who_occur_are_few() -> None:
    many = [
        k for n in range(500) for k in distinctive(n, f"First{n} Last{n}", f"0770 09{n:05}", "")
    ]
    assert Roll(many).occurring({"a": ["It is with first7\tLast7, 077009-00007."]}) == many[14:16]


def test_letters_that_are_alike_break_nothing() -> None:
    jim = Known(3, "Jim Straße")
    for text in ("Jım Straße", "JİM STRASSE", "JIM STRASSE", "jim strasse", "JIM STRAẞE"):
        hidden, rows = kept(text, jim)
        assert readable(hidden, rows.read) == text
    assert kept("JIM STRASSE", jim)[0].startswith(OPEN)


@given(values)
def test_a_reference_that_somebody_typed_leads_nowhere(value: Any) -> None:
    hidden, rows = kept(value)
    assert references(hidden) == set(rows.words)


@given(values)
def test_what_has_references_already_keeps_them(value: Any) -> None:
    hidden, rows = kept(value)
    again = replaced(hidden, Names(JO), rows.refer, kept=True)
    assert again == hidden


def test_a_name_is_found_however_it_is_spaced_and_written_large() -> None:
    for text in ("Jo Brown", "jo brown", "JO\nBROWN", "It is with Jo Brown.", "(Jo Brown)"):
        hidden, _rows = kept(text)
        assert "rown" not in hidden.lower(), text


def test_a_telephone_number_is_found_however_it_is_spaced() -> None:
    for text in ("01632960017", "01632 960017", "(01632) 960-017", "Ring 01632/960.017 now"):
        hidden, _rows = kept(text)
        assert "960" not in hidden, text


def test_a_word_within_another_names_nobody() -> None:
    for text in ("Jo Browning", "Banjo Brown", "1016329600170", "the lot 440163296001755"):
        assert kept(text)[0] == text


def test_a_name_of_one_word_is_not_sure() -> None:
    assert list(distinctive(3, "May", "", "")) == []
    hidden, _rows = kept("31 May, by May", Known(3, "May"))
    assert hidden.count(OPEN) == 2, "where it is looked for all the same, each is found"
    assert kept("it may go", Known(3, "May"))[0] == "it may go"


def test_whoever_is_shown_with_a_number_is_who_has_that_number() -> None:
    twin = Known(18, "Jo Brown")
    hidden, _rows = kept({"id": 18, "name": "Jo Brown", "phone": ""}, *JO, twin)
    assert hidden["name"].startswith(f"{OPEN}18.")


def test_a_trip_leader_who_is_on_record_nowhere_is_named_apart_too() -> None:
    hidden, rows = kept({"leader_name": "Ann Other", "leader_phone": "1"})
    assert hidden["leader_name"].startswith(f"{OPEN}{NOBODY}.")
    assert readable(hidden, rows.read) == {"leader_name": "Ann Other", "leader_phone": "1"}


def test_numbers_of_things_are_no_telephone_numbers() -> None:
    facts = {"number": "01632960017", "was": {"number": "01632960017"}, "codes": ["01632960017"]}
    assert kept(facts)[0] == facts


def test_a_text_that_cannot_name_anybody_is_not_looked_through() -> None:
    for text in ("sealed-and-dry", "2026-05-01T10:00:00+00:00", "", "12345"):
        assert not may_name(text)
    for text in ("Jo Brown", "01632960017", "jo@example.org", OPEN):
        assert may_name({"a": [text]})
