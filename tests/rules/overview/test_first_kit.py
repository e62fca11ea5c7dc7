"""The first kit: what its rows leave open, and the plan that they come to."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, strategies as st

from kits.rules.ledger import Criticality, Kind
from kits.rules.overview.first_kit import (
    Ask,
    KnownItem,
    Names,
    TypedRow,
    free_name,
    plan,
    questions,
)
from kits.rules.overview.workbook import fold

TODAY = date(2026, 11, 28)
NAMES = Names("DAY-01", "Day kit", "Contents", "piece", 10, 1)
GAUZE = TypedRow("Gauze", "5", "10", "0327", "L1", sterile=True)


def ask(row: TypedRow, **known: KnownItem) -> list[Ask]:
    return [each.ask for each in questions([row], known, TODAY)]


@pytest.mark.parametrize(
    ("like", "taken", "free"),
    [
        ("KIT-01", [], "KIT-01"),
        ("KIT-01", ["KIT-01"], "KIT-02"),
        ("KIT-01", ["kit-01", "Kit-02"], "KIT-03"),
        ("KIT-99", ["KIT-99"], "KIT-100"),
        ("Group kit", ["group kit", "Group kit 2"], "Group kit 3"),
        ("7", ["7"], "8"),
    ],
)
def test_the_next_free_name_has_the_next_number(like: str, taken: list[str], free: str) -> None:
    assert free_name(like, {fold(name) for name in taken}) == free


@given(st.text(min_size=1, max_size=40).filter(str.strip), st.sets(st.text(max_size=40)))
def test_a_free_name_is_free(like: str, taken: set[str]) -> None:
    folded = {fold(name) for name in {*taken, like}}
    assert fold(free_name(like, folded)) not in folded


def test_a_whole_row_leaves_nothing_open() -> None:
    assert ask(GAUZE) == []


@pytest.mark.parametrize(
    ("change", "asked"),
    [
        ({"name": ""}, Ask.NAME),
        ({"there": "five"}, Ask.COUNT),
        ({"carry": "-1"}, Ask.COUNT),
        ({"there": "", "carry": "0"}, Ask.NOTHING),
        ({"expiry": "soon"}, Ask.DATE),
        ({"expiry": "03/04/27"}, Ask.DATE),
        ({"expiry": ""}, Ask.DATE),
        ({"number": ""}, Ask.NUMBER),
    ],
)
def test_what_is_missing_is_asked(change: dict[str, str], asked: Ask) -> None:
    assert ask(replace(GAUZE, **change)) == [asked]  # type: ignore[arg-type]  # fields of text


def test_a_date_that_can_be_several_days_names_them() -> None:
    (question,) = questions([replace(GAUZE, expiry="03/04/27")], {}, TODAY)
    assert date(2027, 4, 3) in question.readings and date(2027, 3, 4) in question.readings


@pytest.mark.parametrize(
    "row",
    [
        replace(GAUZE, number="", unnumbered=True),
        replace(GAUZE, expiry="", undated=True),
        replace(GAUZE, there="", expiry="", number=""),
        replace(GAUZE, expiry="soon", left_out=True),
        replace(GAUZE, sterile=False, number=""),
        replace(GAUZE, kind=Kind.TOOL, sterile=False, expiry="", number=""),
    ],
)
def test_nothing_is_asked_that_is_answered_or_does_not_matter(row: TypedRow) -> None:
    assert ask(row) == []


def test_what_is_on_record_of_an_item_goes_before_what_its_row_says() -> None:
    medicine = KnownItem(Kind.MEDICINE, False, True)
    row = TypedRow("Gauze", "5", expiry="0327")
    assert ask(row) == [] and ask(row, gauze=medicine) == [Ask.NUMBER]


def test_batches_of_one_item_are_one_line() -> None:
    of = plan([GAUZE, replace(GAUZE, there="3", number="L2", carry="")], {}, NAMES, TODAY)
    assert [(row.name, row.sterile, row.needs_date) for row in of.things] == [("Gauze", True, True)]
    (line,) = of.lists[0].sections["Contents"]
    assert (line.thing, line.carry, line.never_below) == ("Gauze", 10, 0)
    found = [(row.number, row.units, row.expiry) for row in of.where]
    assert found == [("L1", 5, date(2027, 3, 31)), ("L2", 3, date(2027, 3, 31))]


def test_a_must_have_may_not_be_short_and_of_what_is_important_one_has_to_be_there() -> None:
    rows = [replace(GAUZE, name=each, matters=each) for each in Criticality]
    (lines,) = plan(rows, {}, NAMES, TODAY).lists[0].sections.values()
    assert [(line.criticality, line.never_below) for line in lines] == [
        (Criticality.ROUTINE, 0), (Criticality.IMPORTANT, 1), (Criticality.MUST_HAVE, 10),
    ]  # fmt: skip


TEXTS = st.one_of(st.text(max_size=12), st.sampled_from(["", "3", "0327", "03/04/27", "L7"]))


@given(
    st.lists(
        st.builds(
            TypedRow,
            name=TEXTS, there=TEXTS, carry=TEXTS, expiry=TEXTS, number=TEXTS,
            kind=st.sampled_from([Kind.CONSUMABLE, Kind.MEDICINE, Kind.TOOL]),
            matters=st.sampled_from(Criticality), sterile=st.booleans(), undated=st.booleans(),
            left_out=st.booleans(), pack=TEXTS,
        ),
        max_size=6,
    )
)  # fmt: skip
def test_whatever_leaves_nothing_open_can_be_planned(rows: list[TypedRow]) -> None:
    open_rows = {question.row for question in questions(rows, {}, TODAY)}
    settled = [row for at, row in enumerate(rows) if at not in open_rows]
    of = plan(settled, {}, NAMES, TODAY)
    for line in of.lists[0].sections["Contents"]:
        assert 0 <= line.never_below <= line.carry and line.carry > 0
    for row in of.where:
        assert row.units > 0
