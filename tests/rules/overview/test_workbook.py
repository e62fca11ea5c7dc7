"""The start workbook read: what rows mean, and every mistake named with its cell."""

from datetime import date
from typing import Any

from hypothesis import given, strategies as st

from kits.rules.ledger.facts import Criticality, Kind
from kits.rules.overview.workbook import COLUMNS, Known, Workbook, read

TODAY = date(2026, 5, 1)
WORDS = {"yes": "ja", "no": "nein", "must-have": "unverzichtbar", "medicine": "Arzneimittel"}
GAUZE = ["gauze swab", "consumable", "swab", None, "yes", None, None, None, "4006381333931", 5.0]


def book(known: Known | None = None, **sheets: list[Any]) -> Workbook:
    return read(sheets, known=known or Known(), today=TODAY, words=WORDS)


def said(found: Workbook) -> list[Any]:
    return [(f.sheet, f.row, f.column, f.code) for f in found.faults]


def test_a_whole_workbook_is_read() -> None:
    found = book(
        shelves=[["A1"], [None], ["A2"]],
        things=[GAUZE, ["tape", "consumable", "roll", "no", "no", "yes"]],
        lists=[
            ["Day kit", 10, 1.0, "Main", "gauze swab", 10.0, "5", "must-have", "used most"],
            ["Day kit", None, None, "Main", "Tape", 1],
        ],
        kits=[["DAY-01", "day kit", None]],
        where=[["DAY-01", "Main", "gauze swab", 7, "L1", "05/2027"], ["a1", "", "Tape", 2]],
    )

    assert found.faults == []
    assert found.shelves == ["A1", "A2"]
    gauze, tape = found.things
    assert (gauze.kind, gauze.needs_date, gauze.sterile) == (Kind.CONSUMABLE, True, True)
    assert gauze.units_per_pack == 5
    assert (tape.by_eye, tape.needs_date) == (True, False)
    (day,) = found.lists
    assert (day.people, day.days) == (10, 1)
    assert day.sections["Main"][0].criticality is Criticality.MUST_HAVE
    assert found.where[0].expiry == date(2027, 5, 31)


def test_choices_are_read_in_the_language_of_the_sheet_too() -> None:
    found = book(
        things=[["Tabletten", "arzneimittel", "Stück", "JA"]],
        lists=[["Tag", 1, 1, "Haupt", "Tabletten", 4, 2, "Unverzichtbar"]],
    )

    assert found.things[0].kind is Kind.MEDICINE
    assert found.lists[0].sections["Haupt"][0].criticality is Criticality.MUST_HAVE


def test_every_mistake_is_named_with_its_row_as_the_sheet_shows_it() -> None:
    found = book(
        shelves=[["A1"], ["a1"]],
        things=[["gauze", "rag", "swab"], ["tape", "tool", None]],
        lists=[["Day kit", 1, 1, "Main", "gauze", 2, 3], ["Day kit", 1, 1, "Main", "plaster", 1]],
        kits=[["DAY-01", "Week kit", "Nobody"]],
        where=[["B9", "", "gauze", "some", "", "soon"]],
    )

    assert said(found) == [
        ("shelves", 3, "name", "twice"),
        ("things", 2, "kind", "not-a-choice"),
        ("things", 3, "base_unit", "missing"),
        ("lists", 2, "never_below", "more-than-carry"),
        ("lists", 3, "thing", "not-there"),
        ("kits", 2, "list", "not-there"),
        ("kits", 2, "responsible", "not-there"),
        ("where", 2, "place", "not-there"),
        ("where", 2, "units", "not-a-number"),
        ("where", 2, "expiry", "not-a-date"),
    ]
    assert found.faults[1].choices[1] == "Arzneimittel"


def test_what_is_known_already_is_passed_over_and_may_be_spoken_of() -> None:
    known = Known(
        shelves=frozenset({"a1"}), things=frozenset({"gauze swab"}), lists=frozenset({"day kit"})
    )

    found = book(
        known,
        shelves=[["A1"]],
        things=[GAUZE],
        kits=[["DAY-01", "Day kit"]],
        where=[["A1", "", "Gauze  Swab", 3]],
    )

    assert (found.faults, found.shelves, found.things) == ([], [], [])
    assert len(found.kits) == len(found.where) == 1


_CELL = st.none() | st.text(max_size=12) | st.integers(-9, 10**9) | st.floats(allow_nan=True)


@given(
    st.fixed_dictionaries(
        {name: st.lists(st.lists(_CELL, max_size=12), max_size=4) for name in COLUMNS}
    )
)
def test_whatever_stands_in_the_cells_is_read_or_named(sheets: dict[Any, Any]) -> None:
    found = read(sheets, known=Known(), today=TODAY, words={})

    for fault in found.faults:
        assert fault.column in COLUMNS[fault.sheet]
        assert 2 <= fault.row <= 5
