"""Pasted lines: how many of what, which item is meant, and nothing is lost."""

import pytest
from hypothesis import given, strategies as st

from kits.rules.lists.pasting import Likeness, lines, matches
from kits.rules.text.quantities import MOST

ITEMS = {
    1: "Triangular bandage",
    2: "Gauze swab 10 × 10 cm",
    3: "Plasters",
    4: "Gauze swab 5 × 5 cm",
    5: "Foil blanket",
    6: "Wound dressing 10 × 12",
}


@pytest.mark.parametrize(
    ("text", "name", "units"),
    [
        ("2 x plasters", "plasters", 2),
        ("2x plasters", "plasters", 2),
        ("2 plasters", "plasters", 2),
        ("Triangular bandage – 3", "Triangular bandage", 3),
        ("gauze swabs 10x10 (5)", "gauze swabs 10x10", 5),
        ("gauze swabs 10x10", "gauze swabs 10x10", None),
        ("10 x 10 cm gauze", "10 x 10 cm gauze", None),
        ("2 x 10 x 10 cm gauze", "10 x 10 cm gauze", 2),
        ("5 cm tape", "5 cm tape", None),
        ("- Foil blanket: 4", "Foil blanket", 4),
        ("• Foil blanket x 4", "Foil blanket", 4),
        ("[ ] Foil blanket, 4 pcs", "Foil blanket", 4),
        ("1. Foil blanket 4", "Foil blanket", 4),
        ("Foil blanket\t4\tin the lid", "Foil blanket in the lid", 4),
        ("4\tFoil blanket", "Foil blanket", 4),
        ("10 Stück Pflaster", "Pflaster", 10),
        ("Pflaster 1.000 Stk.", "Pflaster", 1000),
        ("Pflaster\t3,00", "Pflaster", 3),
        ("Wound dressing 10 × 12", "Wound dressing 10 × 12", None),
        ("Gloves size 8", "Gloves size 8", None),
        ("Wounds:", "Wounds:", None),
        ("7", "7", None),
        ("Plasters 99999999", "Plasters", None),
        ("Two tourniquets", "tourniquets", 2),
        ("zwölf Pflaster", "Pflaster", 12),
        ("Tourniquet – two", "Tourniquet", 2),
        ("Rettungsdecke: eine", "Rettungsdecke", 1),
        ("Foil blanket\ttwo", "Foil blanket", 2),
        ("Foil blanket (three)", "Foil blanket", 3),
        ("One-way valve", "One-way valve", None),
        ("One way valve", "One way valve", None),
        ("Four-tailed bandage – 2", "Four-tailed bandage", 2),
        ("2 person shelter", "2 person shelter", None),
        ("Paracetamol 500 mg 16 tabs", "Paracetamol 500 mg", 16),
        ("Paracetamol 500 mg, 16 tablets", "Paracetamol 500 mg", 16),
        ("Paracetamol\t16 tabs", "Paracetamol", 16),
        ("Nitrile gloves 10 prs", "Nitrile gloves", 10),
        ("10 prs nitrile gloves", "nitrile gloves", 10),
        ("Ibuprofen 200 mg x 16 tabs", "Ibuprofen 200 mg", 16),
        ("Toolbox 2 (red)", "Toolbox (red)", 2),
        ("Gauze – 2 (haemostatic)", "Gauze (haemostatic)", 2),
        ("Gauze\t2 (haemostatic)", "Gauze (haemostatic)", 2),
        ("Gauze (haemostatic)", "Gauze (haemostatic)", None),
    ],
)
def test_how_many_of_what_a_line_says(text: str, name: str, units: int | None) -> None:
    (line,) = lines(text)
    assert (line.text, line.name, line.units) == (text, name, units)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("2 x plasters", True),
        ("Tape", False),
        ("10 prs gloves", False),
        ("Gloves\t10 prs", False),
        ("Pain tablets 400", False),
    ],
)
def test_a_number_that_may_mean_something_else_is_to_be_checked(text: str, plain: bool) -> None:
    assert lines(text)[0].plain is plain


@given(st.text())
def test_every_line_comes_out_once_in_its_order(text: str) -> None:
    found = lines(text)
    assert [line.text for line in found] == [
        each.strip() for each in text.splitlines() if each.strip()
    ]
    assert all(line.name for line in found)
    assert all(line.units is None or 0 <= line.units <= MOST for line in found)


@given(
    st.from_regex(r"[a-wyzA-WYZ]{4,9}( [a-wyz]{4,9}){0,3}", fullmatch=True),
    st.integers(0, MOST),
    st.sampled_from(
        ["{n} x {name}", "{name} – {n}", "{name} ({n})", "{name}\t{n}", "* {name}: {n}"]
    ),
)
def test_a_number_and_a_name_are_told_apart(name: str, n: int, form: str) -> None:
    (line,) = lines(form.format(n=n, name=name))
    assert (line.name, line.units) == (name, n)


@pytest.mark.parametrize(
    ("name", "item", "likeness"),
    [
        ("plasters", 3, Likeness.EXACT),
        ("gauze swabs 10x10 cm", 2, Likeness.ALL_WORDS),
        ("triangular bandages", 1, Likeness.ALL_WORDS),
        ("foil", 5, Likeness.ALL_WORDS),
        ("triangulr bandge", 1, Likeness.CLOSE),
        ("wound dressing 10x12", 6, Likeness.EXACT),
    ],
)
def test_the_item_that_is_meant_comes_first(name: str, item: int, likeness: Likeness) -> None:
    best = matches(name, ITEMS)[0]
    assert (best.item, best.likeness) == (item, likeness)


def test_nothing_is_offered_for_what_is_like_nothing() -> None:
    assert not matches("Head torch", ITEMS)
    assert not matches("–", ITEMS)


@given(st.text(max_size=40), st.dictionaries(st.integers(1, 9), st.text(max_size=20)))
def test_at_most_three_are_offered_each_once(name: str, items: dict[int, str]) -> None:
    found = [match.item for match in matches(name, items)]
    assert len(found) == len(set(found)) <= 3
    assert set(found) <= set(items)
