"""Rows pasted into a kit list: which cell is what."""

import pytest
from hypothesis import given, strategies as st

from kits.rules.lists.pasted_rows import PastedRow, rows


def said(row: PastedRow) -> tuple[str, str, str, str, str]:
    values = row.values
    return row.item, values["carry"], values["never"], values["matters"], values["reason"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Gauze\t6\t2", ("Gauze", "6", "2", "routine", "")),
        ("6\tGauze\tfor grazes", ("Gauze", "6", "", "routine", "for grazes")),
        ("Gauze\t6\t2\tmust-have\tBleeds", ("Gauze", "6", "2", "must-have", "Bleeds")),
        ("Mullkompresse\t6\t2\twichtig\t", ("Mullkompresse", "6", "2", "important", "")),
        ("2 x plasters", ("plasters", "2", "", "routine", "")),
        ("Triangular bandage", ("Triangular bandage", "", "", "routine", "")),
    ],
)
def test_cells_are_told_by_what_is_in_them(text: str, expected: tuple[str, ...]) -> None:
    (row,) = rows(text)
    assert said(row) == expected


def test_a_first_row_names_the_columns_in_any_order_and_either_language() -> None:
    text = "Tasche\tAnzahl\tArtikel\tGrund\nDeckel\t3\tSchere\tKleidung"
    (row,) = rows(text)
    assert (*said(row), row.section) == ("Schere", "3", "", "routine", "Kleidung", "Deckel")


def test_a_row_with_a_name_alone_begins_a_section() -> None:
    text = "Lid\t\nGauze\t6\nBase\t\nSplint\t1"
    assert [(row.section, row.item) for row in rows(text)] == [("Lid", "Gauze"), ("Base", "Splint")]


def test_what_has_no_number_or_stands_below_not_carried_is_left_out() -> None:
    text = "Gauze\t6\nTongs\t0\tNever used\nNot carried\t\nScalpel\tNobody is trained"
    left = [(row.item, row.left_out, row.reason) for row in rows(text)]
    assert left == [
        ("Gauze", False, ""),
        ("Tongs", True, "Never used"),
        ("Scalpel", True, "Nobody is trained"),
    ]


def test_a_priority_in_other_words_is_kept_with_the_reason() -> None:
    (row,) = rows("Item\tPriority\tReason\nGauze\tvery high\tBleeds\n")
    assert said(row)[3:] == ("routine", "very high Bleeds")


@given(st.text(alphabet="ab0 1\t\n–x2"))
def test_nothing_pasted_goes_missing(text: str) -> None:
    found = rows(text)
    kept = "".join(f"{row.text} {row.section}" for row in found)
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.split("\t") if cell.strip()]
        if len(cells) > 1:
            assert all(cell in kept for cell in cells)
